"""What leaves for a customer: a mended frame, a frame as it is, or the lenses of a ground one.

It goes by post, or from hand to hand at the counter; the ledger and the end are the same.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.ledger.rules import carrying, ledger, places
from inventory.models import PlaceKind, Reading, Scale
from inventory.weighing import rules as weighing
from returns.arriving.queries.frame_masses import on_bench_mg
from returns.bench import rules as scanned_frames
from returns.letters import rules as letters
from returns.mending.rules import mending
from returns.models import Dispatch, ReturnedFrame
from returns.story.rules import LENSES_WAIT_IN, advance, again, lenses_wait, settle
from returns.story.sums.codes import new_code
from returns.story.sums.states import FrameState

if TYPE_CHECKING:
    from django.contrib.auth.models import User

TO_POST: Final = (FrameState.MENDED, FrameState.TO_RETURN)


@dataclass(frozen=True, slots=True)
class Way:
    """How a frame leaves: the state it ends in, the kind of dispatch, the letter."""

    state: FrameState
    kind: Dispatch.Kind
    letter: str


WAYS: Final = {
    FrameState.MENDED: Way(FrameState.POSTED, Dispatch.Kind.MENDED, "posted_mended"),
    FrameState.TO_RETURN: Way(FrameState.POSTED_AS_IS, Dispatch.Kind.AS_IS, "posted_as_is"),
}


def _sent(key: UUID) -> Dispatch:
    return Dispatch.objects.get(key=key)


@events.rule(
    "posting_out.post_frame",
    facts=lambda frame, scale, mass, reason: [
        frame.tag,
        scale.pk if scale else None,
        mass.strip(),
        reason.strip(),
    ],
    again=_sent,
    # The scan is the proof that the right thing is in the hand, not part of what is asked.
    aside=["scanned"],
)
def post_frame(
    event: Draft,
    /,
    *,
    key: UUID,
    frame: ReturnedFrame,
    scanned: str,
    at: datetime,
    by: User,
    scale: Scale | None = None,
    mass: str = "",
    reason: str = "",
) -> Dispatch:
    """Post a frame, mended or as it is. `scanned` is the tag that goes with it.

    A frame that goes back as it is may be weighed once more: then give `scale` and `mass` as
    typed. A mended one was weighed out already. Raises StaleState when it is not to be posted,
    WrongScan for another tag.
    """
    way = _way(frame)
    scanned_frames.require(scanned, frame)
    # From wherever its mass lies; `_leave` posts from the bench alone.
    carrying.carry(key=key, subject=frame.tag, to=PlaceKind.BENCH, at=at, actor=by)
    reading = _reading(key, frame, scale, mass, reason, at, by)
    dispatch = _gone(key, frame, way, reading, at, by)
    _end(dispatch, way.letter, at)
    event.of(frame.tag, dispatch=dispatch.code)
    return dispatch


@events.rule(
    "posting_out.hand_over_frame",
    facts=lambda frame: [frame.tag],
    again=_sent,
    aside=["scanned"],
)
def hand_over_frame(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, scanned: str, at: datetime, by: User
) -> Dispatch:
    """Hand a frame over at the counter, mended or as it is. `scanned` is the tag that was on it.

    Raises StaleState when it is not to leave, WrongScan for another tag.
    """
    way = _way(frame)
    scanned_frames.require(scanned, frame)
    carrying.carry(key=key, subject=frame.tag, to=PlaceKind.BENCH, at=at, actor=by)
    dispatch = _gone(key, frame, way, mending.weighed_out(frame), at, by, at_counter=True)
    _end(dispatch, "handed_over", at)
    event.of(frame.tag, dispatch=dispatch.code)
    return dispatch


@events.rule(
    "posting_out.post_lenses", facts=lambda frame: [frame.tag], again=_sent, aside=["scanned"]
)
def post_lenses(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, scanned: str, at: datetime, by: User
) -> Dispatch:
    """Post the lenses of a stripped frame back to their wearer. `scanned` is the tag on them.

    Raises StaleState when no lenses of this frame wait, WrongScan for another tag.
    """
    dispatch = _lenses_gone(key, frame, scanned, at, by)
    _end(dispatch, "lenses_posted", at)
    event.of(frame.tag, dispatch=dispatch.code)
    return dispatch


@events.rule(
    "posting_out.hand_over_lenses", facts=lambda frame: [frame.tag], again=_sent, aside=["scanned"]
)
def hand_over_lenses(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, scanned: str, at: datetime, by: User
) -> Dispatch:
    """Hand the lenses of a stripped frame over at the counter; refusals as in `post_lenses`."""
    dispatch = _lenses_gone(key, frame, scanned, at, by, at_counter=True)
    _end(dispatch, "handed_over", at)
    event.of(frame.tag, dispatch=dispatch.code)
    return dispatch


def frames_to_post() -> QuerySet[ReturnedFrame]:
    """Return the frames that are ready to leave, the first promised first."""
    return ReturnedFrame.objects.filter(state__in=TO_POST).select_related(
        "request__person", "colourway__model", "colourway__colour"
    )


def lenses_to_post() -> list[ReturnedFrame]:
    """Return the stripped frames whose lenses wait on the bench, the first promised first."""
    posted = Dispatch.objects.filter(frame=OuterRef("pk"), kind=Dispatch.Kind.LENSES)
    rows = ReturnedFrame.objects.filter(~Exists(posted), lenses_back=True)
    rows = rows.filter(state__in=LENSES_WAIT_IN).select_related("request__person")
    # One question of the ledger a frame. The rows are few: those with lenses to go back, not yet
    # posted.
    return [frame for frame in rows if lenses_wait(frame)]


def _way(frame: ReturnedFrame) -> Way:
    # Read again in the transaction: the page's copy may be from before another hand acted.
    # `advance` still decides, with a conditional update that finds one row or none.
    way = WAYS.get(FrameState(again(frame).state))
    if way is None:
        raise StaleState(_("This frame is not to be posted now."))
    return way


def _gone(
    key: UUID,
    frame: ReturnedFrame,
    way: Way,
    reading: Reading | None,
    at: datetime,
    by: User,
    *,
    at_counter: bool = False,
) -> Dispatch:
    _leave(key, frame, way.kind, reading, at, by)
    gone = advance(frame, way.state, ended_at=at)
    return _dispatched(key, way.kind, gone, at, at_counter=at_counter)


def _lenses_gone(
    key: UUID,
    frame: ReturnedFrame,
    scanned: str,
    at: datetime,
    by: User,
    *,
    at_counter: bool = False,
) -> Dispatch:
    # The ledger has a say beside the flag: what it has on the bench is what can be posted.
    if not lenses_wait(again(frame)):
        raise StaleState(_("No lenses of this frame wait to be posted."))
    scanned_frames.require(scanned, frame)
    _leave(key, frame, Dispatch.Kind.LENSES, None, at, by)
    over = (FrameState.GROUND, FrameState.DISCARDED)
    # A frame still in its box ends when it is ground; only where that is over do its lenses end it.
    ReturnedFrame.objects.filter(pk=frame.pk, state__in=over).update(ended_at=at)
    return _dispatched(key, Dispatch.Kind.LENSES, again(frame), at, at_counter=at_counter)


def _reading(
    key: UUID,
    frame: ReturnedFrame,
    scale: Scale | None,
    mass: str,
    reason: str,
    at: datetime,
    by: User,
) -> Reading | None:
    if not mass.strip():
        return mending.weighed_out(frame)
    if scale is None:
        raise BadInput(_("Choose the scale that showed this mass."), field="scale")
    reading = weighing.read(scale=scale, typed=mass, at=at)
    mending.settle_scale(key=key, frame=frame, reading=reading, reason=reason, at=at, by=by)
    return reading


def _leave(
    key: UUID,
    frame: ReturnedFrame,
    kind: Dispatch.Kind,
    reading: Reading | None,
    at: datetime,
    by: User,
) -> None:
    """Book the frame out. The reason says what left: the month's report counts by it."""
    mass_mg = on_bench_mg(frame)
    if mass_mg < 1:
        raise StaleState(_("The ledger has nothing of this frame on the bench."))
    line = ledger.Line(
        places.mass(PlaceKind.BENCH), places.mass(PlaceKind.WEARERS), mass_mg, reading
    )
    ledger.post(
        # The event has the key itself. A derived one is the same on every repeat, so the ledger
        # finds its own.
        key=uuid.uuid5(key, "post"),
        kind="post_frame",
        lines=[line],
        happened_at=at,
        story=ledger.Story(subject=frame.tag, actor=by, reason=kind.value),
    )


def _dispatched(
    key: UUID, kind: Dispatch.Kind, frame: ReturnedFrame, at: datetime, *, at_counter: bool
) -> Dispatch:
    # Two hands may draw one code between this look and the insert; the unique column then refuses.
    while Dispatch.objects.filter(code=(code := new_code("D"))).exists():
        continue
    return Dispatch.objects.create(
        code=code,
        key=key,
        kind=kind,
        request=frame.request,
        frame=frame,
        posted_at=at,
        at_counter=at_counter,
    )


def _end(dispatch: Dispatch, letter: str, at: datetime) -> None:
    """End the request, and enqueue the letter if somebody is known who gets one."""
    settle(dispatch.request, at)
    if dispatch.request is not None:
        letters.enqueue(letter=letter, request=dispatch.request, frame=dispatch.frame, at=at)
