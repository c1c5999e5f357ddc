"""Whether what a letter says still holds when its turn comes. Reads.

A decision, a weigh-in or an empty parcel may be taken back while its letter waits: nobody gets it
then. What came instead enqueues a letter of its own.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

from inventory.models import OutboxMessage
from returns.models import Parcel, Question, Request, ReturnedFrame
from returns.models.gradings import Outcome
from returns.story.sums.states import FrameState, RequestState

_AS_DECIDED: Final = {
    Outcome.HOLD: frozenset({FrameState.HELD}),
    Outcome.REPAIR: frozenset({FrameState.TO_MEND, FrameState.MENDING, FrameState.MENDED}),
    Outcome.REGRIND: frozenset({FrameState.TO_STRIP, FrameState.TO_RETURN, FrameState.BOXED}),
}

_HERE: Final = frozenset({FrameState.WEIGHED, FrameState.BOXED}.union(*_AS_DECIDED.values()))


def holds(message: OutboxMessage, request: Request) -> bool:
    """Return whether the letter that a message names may still be sent."""
    frame = ReturnedFrame.objects.filter(tag=message.payload.get("frame") or "-").first()
    ask = _ASK.get(str(message.payload["letter"]))
    # A letter without a question is about what cannot be taken back, such as a parcel that was
    # posted.
    return ask is None or ask(message, request, frame)


def _arrived(message: OutboxMessage, request: Request, frame: ReturnedFrame | None) -> bool:
    del message
    if frame is None or frame.request_id != request.pk:
        return False
    return frame.state in _HERE


def _empty(message: OutboxMessage, request: Request, frame: ReturnedFrame | None) -> bool:
    del message, frame
    is_here = request.frames.exclude(state=FrameState.VOIDED).exists()
    # A parcel opened again may still bring the frame; the next finishing decides.
    box = Parcel.objects.filter(partner_slips__request=request, done_at=None)
    opened = request.parcels.filter(done_at=None).exists() or box.exists()
    return not is_here and not opened and request.state != RequestState.ARRIVED


def _decided(message: OutboxMessage, request: Request, frame: ReturnedFrame | None) -> bool:
    del request
    grading = frame.gradings.first() if frame else None
    # A message from before the payload named a grading is taken at its word.
    if frame is None or grading is None or grading.pk != message.payload.get("grading", grading.pk):
        return False
    return frame.state in _AS_DECIDED[Outcome(grading.decided)]


def _still_to_come(message: OutboxMessage, request: Request, frame: ReturnedFrame | None) -> bool:
    del message, frame
    return request.state == RequestState.AWAITED


def _rests(message: OutboxMessage, request: Request, frame: ReturnedFrame | None) -> bool:
    del message, frame
    return request.state == RequestState.RESTING


def _still_open(message: OutboxMessage, request: Request, frame: ReturnedFrame | None) -> bool:
    del request, frame
    rows = Question.objects.filter(pk=message.payload.get("question"))
    return rows.filter(state=Question.State.OPEN).exists()


_ASK: Final[dict[str, Callable[[OutboxMessage, Request, ReturnedFrame | None], bool]]] = {
    "arrived": _arrived,
    "empty": _empty,
    "held": _decided,
    "graded": _decided,
    "reminder": _still_to_come,
    "resting": _rests,
    "question": _still_open,
    "question_reminder": _still_open,
}
