"""Which place a scanned or typed code names, and how a person would call that place."""

from __future__ import annotations

from typing import Any, Final

from django.db.models import F, Value
from django.db.models.functions import Lower, Replace
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.ledger.queries import naming
from inventory.ledger.sums import codes, scans
from inventory.material.queries import boxes
from inventory.models import Lot, Part, Place


def alike(rows: Any, code: str) -> Any:
    """Return the rows whose code is this one, without case and what was typed between letters."""
    # Taken out by the database in the query, so that there is no second column of bare codes that
    # could drift from the first.
    spelt: Any = Lower(F("code"))
    for sign in "-_ ":
        spelt = Replace(spelt, Value(sign), Value(""))
    return rows.alias(folded=spelt).filter(folded=scans.folded(code))


def place(typed: str) -> Place | None:
    """Return the box, lot or bin that a label names; a lot's or part's own code will do too."""
    code = scans.meant(typed)
    # Dashes and gaps alone fold to nothing, which must not find a place by chance.
    if not scans.folded(code):
        return None
    rows = Place.objects.select_related("part", "lot", "polymer", "colour")
    found: Place | None = alike(rows, code).first()
    if found is not None:
        return found
    lot = Lot.objects.filter(code__iexact=code).first()
    if lot is not None:
        return rows.filter(lot=lot).first()
    part = part_of(code)
    return rows.filter(kind="bin", part=part).first() if part else None


def part_of(code: str) -> Part | None:
    """Return the part whose bin a label names, or whose own code this is."""
    own: Part | None = alike(Part.objects, code).first()
    bare = scans.folded(code).removeprefix(scans.folded(naming.bin_code("")))
    # The part's own code wins: a part may be called "bin-…" itself.
    return own or alike(Part.objects, bare).first()


def words(there: Place) -> str:
    """Return a place with what tells it from its neighbour: a lot's colour, and what it holds."""
    facts = {
        "place": naming.words(there),
        "held": naming.amount(there, boxes.held_mg(there)),
        "colour": there.colour,
    }
    if there.lot:
        return _("%(place)s, %(colour)s, which holds %(held)s") % facts
    return _("%(place)s, which holds %(held)s") % facts


def named(typed: str) -> str:
    """Return what was scanned, as a person would call it; else the text itself, cut short."""
    there = place(typed)
    if there is not None:
        return words(there)
    code = scans.meant(typed)
    try:
        kind = codes.kind_of(code)
    except codes.BadCode:
        return _("“%(text)s”, which no label here says") % {"text": code[: scans.SHOWN_LENGTH_MAX]}
    return str(_KINDS[kind]) % {"code": code}


_KINDS: Final[dict[str, Promise]] = {
    "request": gettext_lazy("%(code)s, a customer's request"),
    "frame": gettext_lazy("%(code)s, a frame"),
    "parcel": gettext_lazy("%(code)s, a parcel"),
    "box": gettext_lazy("%(code)s, a box"),
    "lot": gettext_lazy("%(code)s, a lot"),
    "dispatch": gettext_lazy("%(code)s, a dispatch"),
    "grind run": gettext_lazy("%(code)s, a grind run"),
}
