"""Runs tied to frames: which become ground, with which lot, and who is told."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from inventory.material.rules import grinding
from inventory.material.rules.grinding import GrindOut
from inventory.models import GrindRun, OutboxMessage, Place
from returns.leaving import rules as posting_out
from returns.models import Request, ReturnedFrame
from returns.regrind.rules import regrind, stripdown
from returns.regrind.rules.stripdown import StripDown
from returns.story.sums.states import FrameState, RequestState
from tests.makers import NOON, Shop, key
from tests.returns.workroom_makers import graded

pytestmark = pytest.mark.django_db


def boxed(shop: Shop, by: User, **wishes: object) -> ReturnedFrame:
    frame = graded(shop, by, state="to_strip", **wishes)
    parts = StripDown(scale=shop.fine_scale, plastic="19.400 g", lenses="5.200 g", metal="220 mg")
    return stripdown.strip(key=key(), frame=frame, parts=parts, at=NOON, by=by)


def confirmed(box: Place | None, bea: User, ben: User) -> GrindRun:
    assert box is not None
    run = grinding.propose(key=key(), box=box, at=NOON, by=bea)
    return grinding.confirm(
        key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=NOON, by=ben
    )


def finish(run: GrindRun, shop: Shop, by: User, flake: str, **changes: object) -> GrindRun:
    out = GrindOut(scale=shop.fine_scale, flake=flake, minutes=20)
    facts: dict[str, object] = {"key": key(), "run": run, "out": out, "at": NOON, "by": by}
    return regrind.finish(**(facts | changes))  # type: ignore[arg-type]


def now(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


def ground_letters() -> list[str]:
    rows = OutboxMessage.objects.filter(topic="letter")
    return sorted(
        message.payload["frame"] for message in rows if message.payload["letter"] == "ground"
    )


def test_frames_in_the_box_are_ground_with_the_lot_and_their_customers_told(
    shop: Shop, bea: User, ben: User
) -> None:
    frames = [boxed(shop, bea), boxed(shop, bea)]
    run = finish(confirmed(frames[0].box, bea, ben), shop, bea, "38.500 g")
    assert run.lot is not None
    for frame in map(now, frames):
        assert (frame.state, frame.lot, frame.ended_at) == (FrameState.GROUND, run.lot, NOON)
    assert ground_letters() == sorted(frame.tag for frame in frames)
    assert {request.state for request in Request.objects.all()} == {RequestState.SETTLED}
    assert regrind.frames_of(run) == sorted(frames, key=lambda frame: frame.tag)


def test_frame_boxed_after_the_proposal_waits_for_the_next_run(
    shop: Shop, bea: User, ben: User
) -> None:
    early = boxed(shop, bea)
    run = confirmed(early.box, bea, ben)
    late = boxed(shop, bea)
    assert regrind.frames_of(run) == [early]
    finish(run, shop, bea, "19.200 g")
    assert (now(early).state, now(late).state) == (FrameState.GROUND, FrameState.BOXED)
    assert late.box is not None
    assert list(regrind.frames_in(late.box)) == [late]


def test_held_run_grinds_its_frames_once_explained(shop: Shop, bea: User, ben: User) -> None:
    frame = boxed(shop, bea)
    run = finish(confirmed(frame.box, bea, ben), shop, bea, "15 g")
    assert (now(frame).state, ground_letters()) == (FrameState.BOXED, [])
    late = boxed(shop, bea)
    run = regrind.explain(key=key(), run=run, explanation="spilt", at=NOON, by=ben)
    assert (now(frame).state, now(late).state) == (FrameState.GROUND, FrameState.BOXED)
    assert now(frame).lot == run.lot


def test_story_with_lenses_on_the_bench_ends_when_they_are_posted(
    shop: Shop, bea: User, ben: User
) -> None:
    frame = boxed(shop, bea, lenses_back=True)
    finish(confirmed(frame.box, bea, ben), shop, bea, "19.200 g")
    assert (now(frame).state, now(frame).ended_at) == (FrameState.GROUND, None)
    assert Request.objects.get().state == RequestState.ARRIVED
    posting_out.post_lenses(key=key(), frame=now(frame), scanned=frame.tag, at=NOON, by=bea)
    assert now(frame).ended_at == NOON
    assert Request.objects.get().state == RequestState.SETTLED


def test_repeat_tells_nobody_twice(shop: Shop, bea: User, ben: User) -> None:
    frame, same = boxed(shop, bea), key()
    run = confirmed(frame.box, bea, ben)
    first = finish(run, shop, bea, "19.200 g", key=same)
    assert finish(run, shop, bea, "19.200 g", key=same) == first
    assert ground_letters() == [frame.tag]
