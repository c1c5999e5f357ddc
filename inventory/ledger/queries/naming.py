"""A place and what lies in it, as people call them. Reads only."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.furniture import numbers
from inventory.models import Place, Unit


def words(place: Place) -> str:
    """A place as people call it: a lot by its code, a box by its colour, a bin by its part."""
    if place.lot:
        return _("Lot %(code)s") % {"code": place.lot.code}
    if place.polymer and place.colour:
        facts = {
            "polymer": place.polymer,
            "colour": place.colour,
            "origin": place.get_origin_display(),
        }
        return _("Box %(polymer)s %(colour)s, %(origin)s") % facts
    kind = str(place.get_kind_display())
    return f"{kind}: {place.part.name}" if place.part else kind


def amount(place: Place, quantity: int) -> str:
    """So much of what the place holds, in words: grams or pieces."""
    if place.unit == Unit.MILLIGRAM:
        return numbers.mass_words(quantity)
    return ngettext("%(count)s piece", "%(count)s pieces", quantity) % {"count": quantity}


def bin_code(part_code: str) -> str:
    """The code on the label of a part's bin, also before anything lay in it."""
    return f"bin-{part_code}"
