"""How the story of a frame and of its request ends; every ending goes through here."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from inventory.errors import StaleState
from inventory.ledger.queries import balances
from inventory.models import PlaceKind
from returns.asking import queries as asking
from returns.models import Request, ReturnedFrame
from returns.story.sums.states import FrameState, RequestState, is_final, sources

LENSES_WAIT_IN = (FrameState.BOXED, FrameState.GROUND, FrameState.DISCARDED)


def advance(frame: ReturnedFrame, to: FrameState, **changes: Any) -> ReturnedFrame:
    """Move a frame one step on, as the table of states allows.

    `changes` are written in the same update. Raises StaleState when the frame is elsewhere, or
    waits for an answer of its customer.
    """
    # A state may lead to itself (another try); a step that moves on never starts where it ends.
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=sources(to) - {to})
    if rows.update(state=to, **changes) != 1:
        raise StaleState()
    # After the update, which holds the row: a question is asked under the same lock.
    asking.refuse_waiting(frame)
    return again(frame)


def again(frame: ReturnedFrame) -> ReturnedFrame:
    """Return the frame as it stands in the database now."""
    return ReturnedFrame.objects.select_related(
        "request__person", "colourway__model", "colourway__colour", "colourway__polymer", "batch"
    ).get(pk=frame.pk)


def lenses_wait(frame: ReturnedFrame) -> bool:
    """Return whether lenses of a stripped frame still lie on the bench, to be posted back."""
    if not frame.lenses_back or frame.state not in LENSES_WAIT_IN:
        return False
    # The ledger knows, and no column that could be forgotten: what lies at the bench for a stripped
    # frame are its lenses.
    return balances.held_mg(subject=frame.tag, kind=PlaceKind.BENCH) > 0


def settle(request: Request | None, at: datetime) -> bool:
    """Settle a request once all its frames have ended and no lenses wait. Returns whether so."""
    if request is None:
        return False
    frames = list(request.frames.all())
    # A request whose parcels held no frame has its own way back, in the room of arrivals.
    if not frames or not all(_is_over(frame) for frame in frames):
        return False
    # May be called after every ending; only the call that finds it arrived settles it.
    rows = Request.objects.filter(pk=request.pk, state=RequestState.ARRIVED)
    return rows.update(state=RequestState.SETTLED, ended_at=at) == 1


def _is_over(frame: ReturnedFrame) -> bool:
    return is_final(FrameState(frame.state)) and not lenses_wait(frame)
