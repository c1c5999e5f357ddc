"""Taking back a movement that stands for itself. One that is part of a story is undone there.

A frame, a kit or a grind run knows where it stands; reversing its grams alone would leave the
books and the story telling different things.
"""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.ledger.rules import ledger
from inventory.ledger.sums.recipes import KINDS
from inventory.models import Movement

if TYPE_CHECKING:
    from django.contrib.auth.models import User

ALONE: Final = frozenset(name for name, kind in KINDS.items() if kind.alone)
"""Kinds of movement that no frame, kit or run depends on."""

REASON_LENGTH_MAX: Final = 200


@events.rule(
    "reversing.reverse",
    facts=lambda movement, reason: [movement.number, reason.strip()],
    again=lambda key: Movement.objects.get(key=key),
)
def reverse(
    event: Draft, /, *, key: UUID, movement: Movement, reason: str, at: datetime, by: User
) -> Movement:
    """Post the mirror image of a movement. A repeat returns the reversal already posted.

    Raises:
        BadInput: no reason, or one over 200 characters.
        Conflict: the movement is part of a story.
        AlreadyReversed, NotEnough: as the ledger has it.
    """
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        raise BadInput(_("Say why, in up to 200 characters."), field="reason")
    # Reversing the grams of a strip-down, say, would leave a frame that is in pieces in its story
    # and whole in the books.
    if movement.kind not in ALONE:
        raise Conflict(
            _(
                "This movement is part of the story of %(subject)s. Undo the step there; reversing "
                "its mass alone would part the books from the story."
            )
            % {"subject": movement.subject or "–"}
        )
    reversal = ledger.reverse(key=key, movement=movement, reason=reason, at=at, actor=by)
    # An event must name something, and a count of a shelf has no subject.
    subject = movement.subject or f"movement-{movement.number}"
    event.of(subject, movement=movement.number, reversal=reversal.number)
    return reversal
