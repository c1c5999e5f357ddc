"""Taking a reading: the typed text becomes milligrams once, with its uncertainty and flags."""

from __future__ import annotations

from datetime import datetime

from django.utils.formats import get_format
from django.utils.translation import gettext as _

from inventory import clock
from inventory.errors import BadInput
from inventory.models import Reading, Scale
from inventory.weighing.sums import masses, traced, weighing


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


def parse(*, scale: Scale, typed: str, field: str = "mass") -> int:
    """Milligrams of a typed reading that this scale can show. BadInput asks back, never guesses."""
    try:
        return masses.parse_mass_mg(
            typed, resolution_mg=scale.division_mg, capacity_mg=scale.capacity_mg
        )
    except masses.MassTextError as error:
        raise BadInput(refusal(error), field=field) from error


def refusal(error: masses.MassTextError) -> str:
    """Why a typed mass cannot be taken, in the reader's language."""
    return _(error.template) % error.shown(get_format("DECIMAL_SEPARATOR"))


def words(mass_mg: int) -> str:
    """A mass in a sentence: grams, three decimals, the decimal sign of the reader's language."""
    return masses.format_mass(mass_mg, decimal_sign=get_format("DECIMAL_SEPARATOR"))


def read(*, scale: Scale, typed: str, at: datetime, field: str = "mass") -> Reading:
    """Store one reading. Must run in the transaction of the movement that uses it."""
    mass_mg = parse(scale=scale, typed=typed, field=field)
    measured = weighing.measure(sums_scale(scale), mass_mg)
    shared_mg = sum(abs(u) for _key, u in measured.u_shared_mg)
    day = clock.day_of(at)
    return Reading.objects.create(
        scale=scale,
        typed=typed.strip()[:40],
        mass_mg=mass_mg,
        u_own_ug=round(measured.u_independent_mg * 1000),
        u_shared_ug=round(shared_mg * 1000),
        flags=[flag.value for flag in weighing.flags(sums_scale(scale), mass_mg, day)],
        at=at,
        check_due=scale.check_due,
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


def known(reading: Reading) -> traced.Known:
    """How well one reading alone is known."""
    return traced.Traced.of(source(reading)).known()
