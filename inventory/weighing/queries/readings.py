"""Stored readings as the sums know them: a mass with its uncertainty and flags. Reads only."""

from __future__ import annotations

from datetime import datetime

from inventory import clock
from inventory.models import Reading, Scale
from inventory.weighing.sums import traced, weighing


def sums_scale(scale: Scale) -> weighing.Scale:
    """The scale as the sums know it. Its shared error is shared under its name."""
    u_ug = scale.calibration_u_ug
    return weighing.Scale(
        key=scale.name,
        resolution_d_mg=scale.division_mg,
        verification_e_mg=scale.verification_mg,
        accuracy_class=scale.accuracy,
        capacity_mg=scale.capacity_mg,
        minimum_mg=scale.minimum_mg,
        check_due=scale.check_due,
        calibration_u_mg=None if u_ug is None else u_ug / 1000,
    )


def doubts(*, scale: Scale, at: datetime) -> list[str]:
    """What speaks against the scale itself at a moment, whatever would be put on it."""
    day = clock.day_of(at)
    return [flag.value for flag in weighing.flags(sums_scale(scale), scale.minimum_mg, day)]


def measured(reading: Reading) -> weighing.Measured:
    """A stored reading as the sums know it, to be combined with others."""
    return weighing.Measured(
        reading.mass_mg,
        reading.u_own_ug / 1000,
        ((reading.period, reading.u_shared_ug / 1000),),
    )


def source(reading: Reading) -> traced.Source:
    """A stored reading as a mass can be traced to it."""
    return traced.reading(
        reading.mass_mg,
        own_ug=reading.u_own_ug,
        shared_ug=reading.u_shared_ug,
        scale=reading.period,
        flags=((str(reading.scale_id), flag) for flag in reading.flags),
    )


def known(reading: Reading) -> traced.MassUncertainty:
    """How well one reading alone is known."""
    return traced.MassWithReadings.of(source(reading)).known()
