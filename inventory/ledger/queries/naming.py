"""A place and what lies in it, as people call them. Reads only."""

from __future__ import annotations

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from inventory.furniture import numbers
from inventory.models import Place, Unit


def words(place: Place) -> str:
    """Return what people call a place: a lot its code, a box its colour, a bin its part."""
    # The lot comes first: a lot's place has a polymer and a colour as well.
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
    """Return a quantity of what the place holds, in words: grams or pieces."""
    if place.unit == Unit.MILLIGRAM:
        return numbers.mass_words(quantity)
    return ngettext("%(count)s piece", "%(count)s pieces", quantity) % {"count": quantity}


def bin_code(part_code: str) -> str:
    """Return the code on the label of a part's bin, even before anything has lain in it."""
    return f"bin-{part_code}"
