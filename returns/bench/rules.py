"""The frame in the hand: its tag as the proof, and the word of who has it."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.ledger.queries import scanned as labels
from inventory.ledger.rules import scans
from inventory.ledger.sums.scans import meant
from returns.bench.queries import in_hand
from returns.models import ReturnedFrame

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def require(scanned: str, frame: ReturnedFrame, *, field: str = "scanned") -> None:
    """Require that the tag of this frame was scanned or typed.

    Raises WrongScan for any other label, BadInput when nothing was scanned.
    """
    if not scanned.strip():
        raise BadInput(
            _("Scan the tag, or type its code: %(wanted)s.") % {"wanted": words(frame)}, field=field
        )
    tag = meant(scanned)
    if tag == frame.tag:
        return
    # The refusal names what is in the hand, so that nobody has to guess which of two tags was read.
    other = ReturnedFrame.objects.filter(tag=tag).first()
    raise scans.wrong(words(other) if other else labels.named(scanned), [words(frame)], field)


def words(frame: ReturnedFrame) -> str:
    """Name a frame by its tag, model and colour."""
    known = str(frame.colourway) if frame.colourway else _("model not known")
    return _("frame %(tag)s, %(model)s") % {"tag": frame.tag, "model": known}


@events.rule(in_hand.TAKEN, facts=lambda frame: [frame.tag], again=lambda frame: frame)
def take_in_hand(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, at: datetime, by: User
) -> ReturnedFrame:
    """Say that one has a frame in the hand: the others see it, and nobody is held up by it.

    Raises StaleState for a frame that has left or ended.
    """
    if ReturnedFrame.objects.filter(pk=frame.pk).exclude(ended_at=None).exists():
        raise StaleState(_("This frame is not in the house any more."))
    event.of(frame.tag)
    return frame


@events.rule(in_hand.PUT_DOWN, facts=lambda frame: [frame.tag], again=lambda frame: frame)
def put_down(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, at: datetime, by: User
) -> ReturnedFrame:
    """Say that a frame lies on its shelf again, whoever had it in the hand."""
    event.of(frame.tag)
    return frame
