"""Taking a reading: the typed text becomes milligrams once, with its uncertainty and flags."""

from __future__ import annotations

from datetime import datetime

from django.utils.formats import get_format
from django.utils.translation import gettext as _

from inventory import clock
from inventory.errors import BadInput
from inventory.models import Reading, Scale
from inventory.weighing.queries import readings
from inventory.weighing.sums import masses, weighing


def parse(*, scale: Scale, typed: str, field: str = "mass") -> int:
    """Return the milligrams of a typed reading that this scale can show.

    Raises BadInput, which asks back, for what the scale cannot show or what reads two ways.
    """
    try:
        return masses.parse_mass_mg(
            typed, resolution_mg=scale.division_mg, capacity_mg=scale.capacity_mg
        )
    except masses.MassTextError as error:
        raise BadInput(refusal(error), field=field) from error


def refusal(error: masses.MassTextError) -> str:
    """Return why a typed mass cannot be taken, in the reader's language."""
    return _(error.template) % error.shown(get_format("DECIMAL_SEPARATOR"))


def read(*, scale: Scale, typed: str, at: datetime, field: str = "mass") -> Reading:
    """Store one reading. Must run in the transaction of the movement that uses it."""
    mass_mg = parse(scale=scale, typed=typed, field=field)
    day, told = clock.day_of(at), readings.sums_scale(scale)
    found = weighing.budget(told, mass_mg, day)
    return Reading.objects.create(
        scale=scale,
        typed=typed.strip()[:40],
        mass_mg=mass_mg,
        # Stored as whole micrograms, so that whatever is traced to this reading later adds up
        # without a float.
        u_own_ug=round(found.own_mg * 1000),
        u_shared_ug=round(found.common_mg * 1000),
        u_local_ug=round(found.local_mg * 1000),
        u_drift_ug=round(found.drift_mg * 1000),
        error_ug=round(found.error_mg * 1000),
        load_band=weighing.load_band(mass_mg),
        edition=weighing.EDITION,
        model=readings.told(scale),
        flags=[flag.value for flag in weighing.flags(told, mass_mg, day)],
        at=at,
        check_due=scale.check_due,
    )
