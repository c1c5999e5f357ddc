"""What of the people-and-frames room keeps a month open, and what may run over its end."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from inventory.errors import MonthNotReady
from inventory.ledger.rules import ledger
from inventory.models import PlaceKind
from inventory.months import rules as months
from returns.desk.queries.dangling import month_guard
from returns.models import Parcel, ReturnedFrame
from returns.story.sums.states import ON_A_SHELF, FrameState
from tests.inventory import month_makers as made
from tests.inventory.month_makers import NOV, NOV_2, OCT, at, move, weighed_in
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db
MIDNIGHT = datetime(2026, 11, 1, tzinfo=ZoneInfo("Europe/Berlin"))


def parcel(code: str = "P-2345-6789", **changes: object) -> Parcel:
    facts: dict[str, object] = {"key": key(), "arrived_at": OCT}
    return Parcel.objects.create(code=code, **(facts | changes))


def frame(tag: str, state: FrameState, shop: Shop, **changes: object) -> ReturnedFrame:
    """A frame's row, without its mass: each test posts what the ledger is to know."""
    facts: dict[str, object] = {
        "tag": tag,
        "key": key(),
        "parcel": parcel(f"P-{tag}", content="frames", done_at=OCT),
        "state": state.value,
        "cleaned_at": OCT,
        "reading": made.weighing.read(scale=shop.fine_scale, typed="20 g", at=OCT),
        "weighed_at": OCT,
        "promised_by": date(2026, 11, 30),
    }
    return ReturnedFrame.objects.create(**(facts | changes))


def codes(label: str = "2026-10") -> list[str]:
    return [reason.code for reason in month_guard(label)]


def test_nothing_dangles_in_an_empty_room(db: None) -> None:
    assert codes() == []


def test_parcel_that_is_not_weighed_in_dangles_until_it_is(db: None) -> None:
    row = parcel()
    (reason,) = month_guard("2026-10")
    assert (reason.code, reason.subject) == ("parcel-not-weighed-in", "P-2345-6789")
    assert str(reason).startswith("parcel-not-weighed-in: Parcel P-2345-6789")
    row.content, row.done_at = Parcel.Content.FRAMES, NOV_2
    row.save()
    assert codes() == []


def test_empty_parcel_does_not_dangle(db: None) -> None:
    parcel(content="empty", done_at=OCT)
    assert codes() == []


@pytest.mark.parametrize(("seconds", "found"), [(-1, 1), (0, 0), (1, 0)])
def test_parcel_dangles_in_the_month_it_arrived_in_by_local_midnight(
    db: None, seconds: int, found: int
) -> None:
    parcel(arrived_at=(MIDNIGHT + timedelta(seconds=seconds)).astimezone(UTC))
    assert len(codes("2026-10")) == found
    assert len(codes("2026-11")) == 1


@pytest.mark.parametrize("state", sorted(ON_A_SHELF))
def test_frame_that_the_ledger_shows_in_the_house_is_merely_open(
    shop: Shop, state: FrameState
) -> None:
    frame("F-1", state, shop)
    weighed_in("F-1", 20_000)
    assert codes() == []


@pytest.mark.parametrize("state", sorted(ON_A_SHELF))
def test_frame_in_the_house_without_mass_dangles(shop: Shop, state: FrameState) -> None:
    frame("F-1", state, shop)
    assert codes() == ["frame-without-mass"]


def test_frame_put_together_again_after_the_month_keeps_none_open(shop: Shop) -> None:
    """Taken apart in October, which is undone in November: October's books are sound."""
    frame("F-1", FrameState.TO_STRIP, shop)
    weighed_in("F-1", 20_000)
    waste = (at(PlaceKind.BENCH), at(PlaceKind.FOREIGN), 20_000)
    move("carry", (at(PlaceKind.ARRIVALS), at(PlaceKind.BENCH), 20_000), subject="F-1")
    apart = move("strip_down", waste, subject="F-1")
    assert codes() == ["frame-without-mass"]
    ledger.reverse(key=key(), movement=apart, reason="slip", at=NOV)
    assert codes("2026-10") == []
    assert codes("2026-11") == []


def test_frame_weighed_after_the_month_does_not_dangle_in_it(shop: Shop) -> None:
    frame("F-1", FrameState.WEIGHED, shop, weighed_at=NOV)
    assert codes() == []


@pytest.mark.parametrize("state", sorted(set(FrameState) - ON_A_SHELF))
def test_ended_frame_dangles_while_its_mass_is_still_there(shop: Shop, state: FrameState) -> None:
    frame("F-1", state, shop, ended_at=OCT)
    weighed_in("F-1", 20_000)
    (left,) = month_guard("2026-10")
    assert left.code == "frame-left-mass-behind"
    assert left.text == "Frame F-1 has left, but 20.000 g of it are still on the books."
    move("post_frame", (at(PlaceKind.ARRIVALS), at(PlaceKind.WEARERS), 20_000), subject="F-1")
    assert codes() == []


def test_frame_that_ended_after_the_month_was_still_there_in_it(shop: Shop) -> None:
    frame("F-1", FrameState.POSTED, shop, ended_at=NOV)
    weighed_in("F-1", 20_000)
    move(
        "post_frame",
        (at(PlaceKind.ARRIVALS), at(PlaceKind.WEARERS), 20_000),
        subject="F-1",
        at=NOV,
    )
    assert codes("2026-10") == []
    assert codes("2026-11") == []


def test_close_is_refused_with_the_rooms_reasons(db: None) -> None:
    parcel()
    weighed_in("F-1", 5)
    with pytest.raises(MonthNotReady) as refused:
        months.close(key=key(), label="2026-10", at=NOV_2, by=None)
    (reason,) = refused.value.facts["reasons"]
    assert reason.startswith("parcel-not-weighed-in: ")
