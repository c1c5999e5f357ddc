"""What leaves for a customer: frames, lenses, the end of the request, the letters owed."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput, StaleState
from inventory.models import Movement, OutboxMessage, PlaceKind
from returns.arriving.queries.frame_masses import on_bench_mg
from returns.leaving import rules as posting_out
from returns.models import Dispatch, Request, ReturnedFrame
from returns.story.sums.states import FrameState, RequestState
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import on_shelf
from tests.returns.workroom_makers import POLISH, graded, held, mended

pytestmark = pytest.mark.django_db


def post(frame: ReturnedFrame, by: User, **changes: object) -> Dispatch:
    facts: dict[str, object] = {
        "key": key(),
        "frame": frame,
        "scanned": frame.tag,
        "at": NOON,
        "by": by,
    }
    return posting_out.post_frame(**(facts | changes))  # type: ignore[arg-type]


def letters_owed() -> list[str]:
    return sorted(
        message.payload["letter"] for message in OutboxMessage.objects.filter(topic="letter")
    )


def now(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


def test_mended_frame_leaves_with_its_weighed_mass(shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    dispatch = post(frame, bea)
    assert dispatch.code.startswith("D-")
    assert (dispatch.kind, dispatch.posted_at) == (Dispatch.Kind.MENDED, NOON)
    assert (now(frame).state, now(frame).ended_at) == (FrameState.POSTED, NOON)
    posting = Movement.objects.filter(kind="post_frame").latest("number").postings.get()
    assert (posting.quantity, posting.target.kind) == (24_800, PlaceKind.WEARERS)
    assert posting.reading is not None
    assert posting.reading.mass_mg == 24_800
    assert on_bench_mg(frame) == 0


def test_posting_settles_the_request_and_owes_the_letter(shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    post(frame, bea)
    request = Request.objects.get()
    assert (request.state, request.ended_at) == (RequestState.SETTLED, NOON)
    assert letters_owed() == ["arrived", "posted_mended"]


def test_request_waits_for_its_other_frame(shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    other = on_shelf(shop, bea, frame.request)
    post(frame, bea)
    assert Request.objects.get().state == RequestState.ARRIVED
    ReturnedFrame.objects.filter(pk=other.pk).update(state="to_return")
    post(now(other), bea)
    assert Request.objects.get().state == RequestState.SETTLED


def test_frame_as_it_is_leaves_from_the_shelf_without_a_second_reading(
    shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, state="to_return")
    dispatch = post(frame, bea)
    assert dispatch.kind == Dispatch.Kind.AS_IS
    assert now(frame).state == FrameState.POSTED_AS_IS
    assert held(PlaceKind.ARRIVALS) == held(PlaceKind.BENCH) == 0
    assert letters_owed() == ["arrived", "posted_as_is"]


def test_frame_as_it_is_may_be_weighed_once_more(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, state="to_return")
    post(frame, bea, scale=shop.fine_scale, mass="24.700 g")
    assert held(PlaceKind.UNEXPLAINED) == 120
    assert held(PlaceKind.WEARERS) == -120


@pytest.mark.parametrize(
    ("changes", "field"),
    [({"mass": "24.700 g"}, "scale"), ({"mass": "20 g", "scale": "fine"}, "reason")],
)
def test_bad_second_reading_is_refused_and_nothing_moves(
    shop: Shop, bea: User, changes: dict[str, object], field: str
) -> None:
    frame = graded(shop, bea, state="to_return")
    data = {**changes, "scale": shop.fine_scale} if "scale" in changes else changes
    with pytest.raises(BadInput) as refused:
        post(frame, bea, **data)
    assert refused.value.field == field
    assert now(frame).state == FrameState.TO_RETURN
    assert held(PlaceKind.ARRIVALS) == 24_820


def test_repeat_posts_once(shop: Shop, bea: User) -> None:
    frame, same = mended(shop, bea), key()
    assert post(frame, bea, key=same) == post(frame, bea, key=same)
    assert Dispatch.objects.count() == 1
    with pytest.raises(StaleState):
        post(frame, bea)


@pytest.mark.parametrize("state", ["weighed", "to_mend", "mending", "to_strip", "boxed", "posted"])
def test_frame_that_is_not_ready_cannot_be_posted(shop: Shop, bea: User, state: str) -> None:
    with pytest.raises(StaleState):
        post(graded(shop, bea, POLISH, state=state), bea)


def test_frame_of_nobody_known_can_leave_and_owes_no_letter(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state="to_return")
    assert post(now(frame), bea).request is None
    assert letters_owed() == []


def test_lists_of_what_is_to_be_posted(shop: Shop, bea: User) -> None:
    frame = mended(shop, bea)
    assert list(posting_out.frames_to_post()) == [frame]
    assert posting_out.lenses_to_post() == []
    post(frame, bea)
    assert list(posting_out.frames_to_post()) == []


def test_lenses_cannot_be_posted_where_none_wait(shop: Shop, bea: User) -> None:
    with pytest.raises(StaleState):
        posting_out.post_lenses(key=key(), frame=mended(shop, bea), scanned="", at=NOON, by=bea)
