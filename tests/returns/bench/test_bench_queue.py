"""Today's queue: counts, order, bounds, and a number of queries that does not grow."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import OutboxMessage, Place
from returns.arriving import rules as arriving
from returns.bench.queries import queue
from returns.bench.queries.queue import Only
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.models import ReturnedFrame
from returns.story.sums.states import FrameState
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import booked, filed, on_shelf

# 1 frames by state, 2 parcels, 3 kits, 4 grind runs, 5 messages, 6 the page's rows,
# 7 the gradings of the held frames among them, 8 requests whose parcel is under way,
# 9 frames that wait for an answer.
QUERIES = 9


def many(first: ReturnedFrame, count: int) -> None:
    """Copies of a frame, each promised a day later than the one before."""
    ReturnedFrame.objects.bulk_create(
        ReturnedFrame(
            tag=f"F-{number}",
            key=key(),
            parcel=first.parcel,
            state="held" if number % 2 else "weighed",
            cleaned_at=NOON,
            reading=first.reading,
            colourway=first.colourway,
            weighed_at=NOON,
            promised_by=date(2026, 1, 1) + timedelta(days=number),
        )
        for number in range(count)
    )


def test_every_step_is_counted(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    arriving.finish(key=key(), parcel=frame.parcel, at=NOON, by=bea)
    booked(bea)
    filed(shop.avocet_slate, kind="spare_screws", state="reserved", wish="")
    filed(shop.avocet_slate, kind="spare_screws", state="waiting_stock", wish="")
    OutboxMessage.objects.create(
        topic="letter", subject="Q", created_at=NOON, available_at=NOON, given_up_at=NOON
    )
    counts = queue.step_counts()
    assert {step for step, count in counts.items() if count} == {
        "look", "parcels", "kits", "messages",
    }  # fmt: skip
    assert counts["kits"] == counts["look"] == 1
    assert set(counts) == set(queue.STEPS)


def test_oldest_promise_stands_first_and_pages_are_bounded(shop: Shop, bea: User) -> None:
    many(on_shelf(shop, bea), 60)
    first, last = queue.today(step="", page=1), queue.today(step="", page=99)
    assert [row.tag for row in first.page][:2] == ["F-0", "F-1"]
    assert (len(first.page), len(last.page), last.page.number) == (50, 11, 2)


@pytest.mark.parametrize("step", [*queue.STEPS, "all", "nonsense"])
def test_any_step_can_be_shown(shop: Shop, bea: User, step: str) -> None:
    on_shelf(shop, bea)
    shown = queue.today(step=step, page=1)
    assert shown.step == (step if step in queue.STEPS else "all")
    list(shown.page)


def test_boxed_and_ended_frames_do_not_wait(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    box = Place.objects.get(code="arrivals")
    for state in (FrameState.BOXED, FrameState.POSTED, FrameState.GROUND, FrameState.VOIDED):
        ReturnedFrame.objects.filter(pk=frame.pk).update(state=state, box=box)
        assert not list(queue.today(step="", page=1).page)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=FrameState.BOXED)
    assert list(queue.today(step="boxed", page=1).page) == [frame]


def test_held_frame_brings_its_latest_grading(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    for polymer in ("unknown", "foreign"):
        latest = lookover.grade(
            key=key(),
            frame=frame,
            look=Look(findings=[Seen("lens_left", "scuffed")], polymer=polymer),
            at=NOON,
            by=bea,
        )
    assert queue.today(step="held", page=1).why == {frame.pk: latest}


@pytest.mark.parametrize("count", [3, 400])
def test_queries_stay_the_same_however_many_frames_wait(shop: Shop, bea: User, count: int) -> None:
    many(on_shelf(shop, bea), count)
    with CaptureQueriesContext(connection) as asked:
        shown = queue.today(step="", page=1)
        [str(row.colourway) for row in shown.page]
    assert len(asked) == QUERIES


def test_frames_are_found_by_model_colour_and_a_piece_of_a_code(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea, filed(shop.avocet_slate))
    many(frame, 60)
    ReturnedFrame.objects.filter(tag__in=["F-7", "F-17"]).update(colourway=None)

    def found(**told: str) -> tuple[int, int]:
        shown = queue.today(step="", page=1, only=Only(**told))
        return len(shown.page), shown.page.paginator.count

    assert found() == (50, 61)
    assert found(model=shop.avocet.code) == (50, 59)
    assert found(model=shop.avocet.code, colour=shop.moss.code) == (0, 0)
    assert found(model="no-such-model") == (0, 0)
    assert found(piece=frame.tag[2:9].lower().replace("-", " ")) == (1, 1)
    assert frame.request is not None
    assert found(piece=frame.request.reference.lower()) == (1, 1)
    assert found(piece="%") == (50, 61)
    shown = queue.today(step="held", page=1, only=Only(piece="F-1", colour=shop.slate.code))
    assert {row.tag for row in shown.page} == {"F-1", "F-11", "F-13", "F-15", "F-19"}


def test_a_thousand_frames_are_one_page_and_a_fixed_number_of_queries(
    shop: Shop, bea: User
) -> None:
    first = on_shelf(shop, bea)
    many(first, 1000)
    with CaptureQueriesContext(connection) as asked:
        shown = queue.today(step="", page=3, only=Only(model=shop.avocet.code, piece="9"))
        [str(row.colourway) for row in shown.page]
    # Of 0 to 999, 271 are written with a 9; the first frame's tag is drawn by lot.
    assert shown.page.paginator.count == 271 + ("9" in first.tag)
    # One more than without a filter: how many fit.
    assert len(asked) == QUERIES + 1
