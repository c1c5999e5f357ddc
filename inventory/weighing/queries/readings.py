"""Stored readings in the form that the sums take: a mass with uncertainty and flags. Reads only."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from inventory import clock
from inventory.models import Reading, Scale
from inventory.weighing.sums import traced, weighing


def sums_scale(scale: Scale) -> weighing.Scale:
    """Return the scale in the form that the sums take; its name is the key of its shared error."""
    u_ug = scale.calibration_u_ug
    return weighing.Scale(
        key=scale.name,
        resolution_d_mg=scale.division_mg,
        verification_e_mg=scale.verification_mg,
        accuracy_class=scale.accuracy,
        capacity_mg=scale.capacity_mg,
        minimum_mg=scale.minimum_mg,
        check_due=scale.check_due,
        # None and 0 are not alike: without a calibration the sums take the class's permissible
        # error.
        calibration_u_mg=_mg(u_ug),
        checked_on=scale.checked_on,
        certificate=tuple(
            weighing.CertificatePoint(load_mg, error_ug / 1000, u_ug / 1000)
            for load_mg, error_ug, u_ug in scale.certificate
        ),
        repeatability_mg=_mg(scale.repeatability_ug),
        repeats=scale.repeats,
        eccentricity_mg=_mg(scale.eccentricity_ug),
        eccentricity_load_mg=scale.eccentricity_load_mg,
        drift_ppm=scale.drift_ppm,
    )


def _mg(u_ug: int | None) -> float | None:
    return None if u_ug is None else u_ug / 1000


def told(scale: Scale) -> dict[str, Any]:
    """Return what was known of a scale, to be kept with a reading; what was not is left out."""
    known = {
        "calibration_u_ug": scale.calibration_u_ug,
        "checked_on": scale.checked_on.isoformat() if scale.checked_on else None,
        "certificate": scale.certificate or None,
        "repeatability_ug": scale.repeatability_ug,
        "repeats": scale.repeats,
        "eccentricity_ug": scale.eccentricity_ug,
        "eccentricity_load_mg": scale.eccentricity_load_mg,
        "drift_ppm": scale.drift_ppm,
    }
    return {name: figure for name, figure in known.items() if figure is not None}


def _parts_ug(reading: Reading) -> tuple[tuple[str, int], ...]:
    """Return what a reading shares with others, by the name of each common error, in µg."""
    # By scale and calibration period: a new check ends what the readings before it share.
    return shared_ug(
        reading.period,
        reading.load_band,
        (reading.u_shared_ug, reading.u_drift_ug, reading.error_ug, reading.u_local_ug),
    )


def shared_ug(key: str, band: int, parts: tuple[int, int, int, int]) -> tuple[tuple[str, int], ...]:
    """Return common part, drift, error and local part under the names of `weighing.shared_parts`.

    Readings of edition 1 had the first of them alone.
    """
    common, drift, error, local = parts
    named = ((f"{key}:drift", drift), (f"{key}:error", error), (f"{key}:load{band}", local))
    return ((key, common), *((name, u_ug) for name, u_ug in named if u_ug))


def doubts(*, scale: Scale, at: datetime) -> list[str]:
    """Return what speaks against the scale itself at a moment, whatever would be put on it."""
    day = clock.day_of(at)
    # Asked at the smallest load allowed, so that only the date can be out of order.
    return [flag.value for flag in weighing.flags(sums_scale(scale), scale.minimum_mg, day)]


def measured(reading: Reading) -> weighing.Measured:
    """Return a stored reading in the form that the sums combine, in milligrams."""
    return weighing.Measured(
        reading.mass_mg,
        reading.u_own_ug / 1000,
        tuple((key, u_ug / 1000) for key, u_ug in _parts_ug(reading)),
    )


def source(reading: Reading) -> traced.Source:
    """Return a stored reading as a source that masses can be traced to."""
    return traced.reading(
        reading.mass_mg,
        own_ug=reading.u_own_ug,
        shared_ug=_parts_ug(reading),
        flags=((str(reading.scale_id), flag) for flag in reading.flags),
    )


def known(reading: Reading) -> traced.MassUncertainty:
    """Return the uncertainty of one reading alone."""
    return traced.MassWithReadings.of(source(reading)).known()
