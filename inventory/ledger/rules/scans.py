"""The scan as proof: the label in the hand is the one an action needs, or is refused by name.

Whoever takes from a box, a lot or a bin reads its label to the tool. A code typed by hand counts
as well: what is proved is that somebody looked at this label and at no other.
"""

from __future__ import annotations

from collections.abc import Iterable

from django.utils.translation import gettext as _

from inventory.errors import BadInput, WrongScan
from inventory.ledger.queries import scanned as labels
from inventory.ledger.sums import scans
from inventory.models import Place


def require(scanned: Iterable[str], places: Iterable[Place], *, field: str = "scanned") -> None:
    """Make sure that each of the places was scanned, and nothing else.

    Raises WrongScan for a label of anything else, BadInput for a place that was not scanned.
    """
    wanted = {place.pk: place for place in places}
    seen = set()
    for text in scanned:
        _refuse_long(text, field)
        found = labels.place(text)
        if found is None or found.pk not in wanted:
            raise wrong(
                labels.named(text), [labels.words(place) for place in wanted.values()], field
            )
        # A set: the same label scanned twice proves no more than once, and is no mistake either.
        seen.add(found.pk)
    lacking = [labels.words(place) for key, place in wanted.items() if key not in seen]
    if lacking:
        raise BadInput(
            _("Scan the label, or type its code: %(wanted)s.") % {"wanted": "; ".join(lacking)},
            field=field,
        )


def wrong(named: str, wanted: list[str], field: str) -> WrongScan:
    """Return the refusal of a label, which names what was scanned and what is needed."""
    if not wanted:
        return WrongScan(
            _("You scanned %(scanned)s. Nothing of it is used here: take that line out.")
            % {"scanned": named},
            field=field,
        )
    return WrongScan(
        _("You scanned %(scanned)s. Needed here: %(wanted)s. Take that one and scan its label.")
        % {"scanned": named, "wanted": "; ".join(wanted)},
        field=field,
    )


def _refuse_long(text: str, field: str) -> None:
    if len(text) > scans.TYPED_LENGTH_MAX:
        raise BadInput(_("That is too long for a code. Scan the label alone."), field=field)
