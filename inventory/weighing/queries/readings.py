"""Stored readings in the form that the sums take: a mass with uncertainty and flags. Reads only."""

from __future__ import annotations

from datetime import datetime

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
        calibration_u_mg=None if u_ug is None else u_ug / 1000,
    )


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
        # By scale and calibration period: a new check ends what the readings before it share.
        ((reading.period, reading.u_shared_ug / 1000),),
    )


def source(reading: Reading) -> traced.Source:
    """Return a stored reading as a source that masses can be traced to."""
    return traced.reading(
        reading.mass_mg,
        own_ug=reading.u_own_ug,
        shared_ug=reading.u_shared_ug,
        scale=reading.period,
        flags=((str(reading.scale_id), flag) for flag in reading.flags),
    )


def known(reading: Reading) -> traced.MassUncertainty:
    """Return the uncertainty of one reading alone."""
    return traced.MassWithReadings.of(source(reading)).known()
