"""Days from weigh-in to end, months, and the promise, at their limits."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from inventory.ledger.rules import ledger
from inventory.models import Movement
from inventory.months.sums.calendar_month import Month
from returns.bench.queries.queue import WAITING
from returns.figures.circularity.queries.turnaround import by_month, turnaround
from returns.figures.span.queries import Scope, Span
from returns.models import ReturnedFrame
from returns.story.sums.states import ON_A_SHELF
from tests.makers import NOON, Shop, key
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

AUTUMN = Span(Month(2026, 9), Month(2026, 12))


def test_nothing_ended_gives_no_median_and_says_what_is_missing() -> None:
    found = turnaround(AUTUMN, Scope())
    assert found.median_days is None
    assert found.kept.missing is not None
    assert sum(one.frames for one in found.bins) == 0


def test_the_promised_day_itself_is_kept(shop: Shop) -> None:
    for days in (20, 21, 22):
        made.end(made.frame(shop), "posted", days=days)
    found = turnaround(AUTUMN, Scope())
    assert found.kept.share is not None
    assert found.kept.share.share == 2 / 3
    assert (found.median_days, found.slowest_days) == (21.0, 22)


def test_a_promise_is_kept_when_the_frame_is_in_its_box_though_it_is_ground_later(
    shop: Shop,
) -> None:
    for days in (20, 21, 22):
        made.boxed(shop, days=days)
    found = turnaround(AUTUMN, Scope())
    assert found.kept.share is not None
    assert (found.done, found.kept.share.share, found.median_days) == (3, 2 / 3, 21.0)
    for frame in ReturnedFrame.objects.all():
        made.end(frame, "ground", days=60)
    assert turnaround(AUTUMN, Scope()) == found


def test_a_strip_down_taken_back_is_not_done(shop: Shop) -> None:
    frame = made.boxed(shop)
    movement = Movement.objects.get(kind="strip_down", subject=frame.tag)
    ledger.reverse(key=key(), movement=movement, reason="wrong frame", at=NOON + timedelta(days=4))
    frame.state, frame.box = "to_strip", None
    frame.save()
    assert turnaround(AUTUMN, Scope()).done == 0


def test_desk_bench_and_owner_count_the_same_frames_as_not_done() -> None:
    assert set(WAITING) == ON_A_SHELF


@pytest.mark.parametrize(
    ("days", "label"), [(0, "0–3"), (3, "0–3"), (4, "4–7"), (42, "29–42"), (43, "43+")]
)
def test_a_stay_falls_into_its_bin(shop: Shop, days: int, label: str) -> None:
    made.boxed(shop, days=days)
    found = turnaround(AUTUMN, Scope())
    assert [one.label for one in found.bins if one.frames] == [label]


def test_days_are_counted_on_the_workshops_calendar(shop: Shop) -> None:
    # 23:30 in Berlin to 00:30 the day after: one day, though one hour.
    late = NOON.replace(hour=21, minute=30)
    frame = made.frame(shop, at=late)
    frame.state, frame.ended_at = "posted", late + timedelta(hours=1)
    frame.save()
    assert turnaround(AUTUMN, Scope()).median_days == 1


def test_every_month_has_its_row(shop: Shop) -> None:
    made.posted(shop)
    made.boxed(shop, at=NOON + timedelta(days=30))
    made.posted(shop, kind="as_is")
    rows = [(r.month, r.received, r.repaired, r.reground, r.other) for r in by_month(AUTUMN, _all)]
    assert rows == [
        ("2026-09", 0, 0, 0, 0),
        ("2026-10", 2, 1, 0, 1),
        ("2026-11", 1, 0, 1, 0),
        ("2026-12", 0, 0, 0, 0),
    ]


_all = Scope()


def test_the_number_of_questions_is_fixed(shop: Shop, django_assert_num_queries: Any) -> None:
    for _ in range(3):
        made.posted(shop)
    # Days; then frames weighed in, outcomes.
    with django_assert_num_queries(3):
        turnaround(AUTUMN, _all)
        by_month(AUTUMN, _all)
