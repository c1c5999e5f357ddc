"""Closing months: in order, after their end, when nothing dangles, and then never again."""

from __future__ import annotations

import hashlib
import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, connection, transaction

from inventory.errors import KeyReused, MonthClosed, MonthNotReady, NotFound
from inventory.ledger.queries import balances
from inventory.ledger.rules import ledger, places
from inventory.models import Event, GrindRun, Month, MonthBalance, Movement, Place, PlaceKind
from inventory.months import rules as months
from inventory.months.queries import chain
from inventory.months.queries import months as standing
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV, NOV_2, OCT, at, move, weighed_in
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db
BERLIN = ZoneInfo("Europe/Berlin")


def close(label: str, at_: datetime = NOV_2, by: User | None = None) -> Month:
    return months.close(key=key(), label=label, at=at_, by=by)


def reasons_of(error: pytest.ExceptionInfo[MonthNotReady]) -> list[str]:
    return [reason.partition(":")[0] for reason in error.value.facts["reasons"]]


def test_closing_stores_what_every_place_holds_and_who_closed(acke: User) -> None:
    weighed_in("F-1", 24_310)
    month = close("2026-10", by=acke)
    shelf = MonthBalance.objects.get(month=month, place__kind=PlaceKind.ARRIVALS)
    outside = MonthBalance.objects.get(month=month, place__kind=PlaceKind.WEARERS)
    assert (shelf.quantity, outside.quantity) == (24_310, -24_310)
    assert (month.closed_by, month.last_number, len(month.digest)) == (acke, 1, 64)
    assert Event.objects.get(name="months.close").subject == "2026-10"


def test_repeat_of_a_close_returns_the_same_month() -> None:
    weighed_in("F-1", 5)
    same = key()
    first = months.close(key=same, label="2026-10", at=NOV_2, by=None)
    assert months.close(key=same, label="2026-10", at=NOV_2, by=None) == first
    with pytest.raises(KeyReused):
        months.close(key=same, label="2026-11", at=DEC_2, by=None)


def test_month_ends_at_local_midnight_not_before() -> None:
    weighed_in("F-1", 5)
    midnight = datetime(2026, 11, 1, tzinfo=BERLIN)
    with pytest.raises(MonthNotReady) as refused:
        close("2026-10", midnight - timedelta(microseconds=1))
    assert reasons_of(refused) == ["not-ended"]
    assert close("2026-10", midnight).label == "2026-10"


def test_half_past_eleven_local_on_the_last_day_belongs_to_that_month() -> None:
    late_evening = datetime(2026, 10, 31, 23, 30, tzinfo=BERLIN)
    assert weighed_in("F-1", 5, at_=late_evening).month == "2026-10"
    assert weighed_in("F-2", 5, at_=late_evening + timedelta(hours=1)).month == "2026-11"


def test_half_past_eleven_in_utc_is_the_next_month_in_berlin() -> None:
    assert weighed_in("F-1", 5, at_=datetime(2026, 10, 31, 23, 30, tzinfo=UTC)).month == "2026-11"


def test_months_are_closed_in_order() -> None:
    weighed_in("F-1", 5)
    weighed_in("F-2", 5, at_=NOV)
    with pytest.raises(MonthNotReady) as refused:
        close("2026-11", DEC_2)
    assert reasons_of(refused) == ["not-next"]
    close("2026-10", DEC_2)
    close("2026-11", DEC_2)
    assert standing.next_to_close() is not None
    assert str(standing.next_to_close()) == "2026-12"


def test_month_without_a_movement_can_be_closed_after_another() -> None:
    weighed_in("F-1", 5)
    close("2026-10", DEC_2)
    assert close("2026-11", DEC_2).label == "2026-11"


def test_nothing_to_close_before_the_first_movement() -> None:
    with pytest.raises(MonthNotReady) as refused:
        close("2026-10")
    assert "nothing-booked" in reasons_of(refused)


def test_closed_month_is_not_closed_twice() -> None:
    weighed_in("F-1", 5)
    close("2026-10")
    with pytest.raises(MonthClosed):
        close("2026-10")
    with pytest.raises(MonthClosed):
        close("2026-09")


@pytest.mark.parametrize("label", ["2026-13", "last", "", "2026-1", "1969-12"])
def test_label_that_names_no_month_is_not_found(label: str) -> None:
    with pytest.raises(NotFound):
        close(label)


@pytest.mark.parametrize("state", ["proposed", "confirmed", "held"])
def test_grind_run_under_way_keeps_the_month_open(
    shop: Shop, bea: User, ben: User, state: str
) -> None:
    weighed_in("F-1", 5)
    run = GrindRun.objects.create(
        code="G-2222-3333",
        box=made.box(shop),
        state=state,
        box_mg=5,
        box_movement=1,
        proposed_by=bea,
        proposed_at=OCT,
        confirmed_by=ben if state != "proposed" else None,
    )
    label = Movement.objects.order_by("month").first().month
    while label < "2026-10":
        close(label)
        label = str(standing.next_to_close())
    with pytest.raises(MonthNotReady) as refused:
        close("2026-10")
    assert reasons_of(refused) == ["grind-run-open"]
    assert "G-2222-3333" in refused.value.message
    GrindRun.objects.filter(pk=run.pk).update(state="finished")
    assert close("2026-10").label == "2026-10"


def test_run_proposed_after_the_month_does_not_keep_it_open(shop: Shop, bea: User) -> None:
    GrindRun.objects.create(
        code="G-2222-3333",
        box=made.box(shop),
        box_mg=5,
        box_movement=1,
        proposed_by=bea,
        proposed_at=NOV_2,
    )
    assert close("2026-08").label == "2026-08"


def test_place_that_would_end_below_zero_keeps_the_month_open() -> None:
    """Carried in October by its date, but it came in November: the order of the dates is wrong."""
    weighed_in("F-1", 900, at_=NOV)
    move("carry", (at(PlaceKind.ARRIVALS), at(PlaceKind.BENCH), 900), at=OCT, subject="F-1")
    with pytest.raises(MonthNotReady) as refused:
        close("2026-10")
    assert reasons_of(refused) == ["place-below-zero"]
    (reason,) = refused.value.facts["reasons"]
    assert "Arrivals shelf: it would end the month at -0.900 g" in str(reason)


def test_late_movement_is_booked_in_the_first_open_month_and_says_where_it_belongs() -> None:
    weighed_in("F-1", 5)
    close("2026-10")
    late = weighed_in("F-2", 7)
    assert (late.month, late.belongs_to) == ("2026-11", "2026-10")


def test_database_refuses_a_movement_in_a_closed_month() -> None:
    movement = weighed_in("F-1", 5)
    close("2026-10")
    movement.pk, movement.number, movement.key = None, 2, key()
    with pytest.raises(IntegrityError, match="closed"), transaction.atomic():
        movement.save(force_insert=True)


@pytest.mark.parametrize("table", ["inventory_month", "inventory_monthbalance"])
@pytest.mark.parametrize("statement", ["UPDATE {} SET id = id", "DELETE FROM {}"])
def test_database_refuses_to_change_a_closed_month(table: str, statement: str) -> None:
    weighed_in("F-1", 5)
    close("2026-10")
    with pytest.raises(IntegrityError, match="append-only"), connection.cursor() as cursor:
        cursor.execute(statement.format(table))


def test_digests_are_chained() -> None:
    weighed_in("F-1", 5)
    first = close("2026-10", DEC_2)
    second = close("2026-11", DEC_2)
    assert first.previous_digest == ""
    assert second.previous_digest == first.digest
    assert second.digest != first.digest


def test_digest_hangs_on_what_was_posted_and_on_what_was_frozen() -> None:
    weighed_in("F-1", 5)
    held = balances.at_close("2026-10")
    before = chain.digest("2026-10", "", held, {})
    assert chain.digest("2026-10", "", held, {"prices": 1}) != before
    assert chain.digest("2026-10", "f" * 64, held, {}) != before
    weighed_in("F-2", 5)
    assert chain.digest("2026-10", "", held, {}) != before


def test_digest_is_over_the_lines_that_its_docstring_names(shop: Shop) -> None:
    data = made.furnished_october(shop)
    back = ledger.reverse(key=key(), movement=data["issue"], reason="it was May", at=OCT)
    held = balances.at_close("2026-10")
    lines = [
        ["month", "2026-10", "f" * 64],
        *(_as_told(movement) for movement in Movement.objects.filter(month="2026-10")),
        ["balances", *sorted([Place.objects.get(pk=pk).code, mg] for pk, mg in held.items())],
        ["frozen", {"prices": 1}],
    ]
    text = "".join(
        json.dumps(line, sort_keys=True, ensure_ascii=False, separators=(",", ":")) + "\n"
        for line in lines
    )
    assert f'"{back.reason}"' in text
    expected = hashlib.sha256(text.encode()).hexdigest()
    assert chain.digest("2026-10", "f" * 64, held, {"prices": 1}) == expected


def _as_told(movement: Movement) -> list[object]:
    """A movement read through its objects, one by one."""
    moment = movement.happened_at.astimezone(UTC).isoformat(timespec="microseconds")
    postings = [
        [p.line, p.source.code, p.target.code, p.quantity, r and [r.typed, r.mass_mg, r.scale_id]]
        for p in movement.postings.order_by("line")
        for r in [p.reading]
    ]
    story = [movement.reason, movement.cost_minor, movement.actor_id, movement.heat]
    undone = movement.reverses.number if movement.reverses else None
    head = [movement.number, movement.kind, movement.subject, moment, movement.belongs_to, undone]
    return ["movement", *head, *story, postings]


def test_balance_after_snapshots_equals_the_sum_of_all_postings(shop: Shop) -> None:
    made.furnished_october(shop)
    plain = balances.at_close("2026-11")
    for label in ("2026-08", "2026-09", "2026-10"):
        close(label)
    assert balances.at_close("2026-11") == plain == balances.at_start("2026-12")


def test_reversing_into_an_open_month_leaves_the_closed_one_alone() -> None:
    movement = weighed_in("F-1", 5)
    close("2026-10")
    undone = ledger.reverse(key=key(), movement=movement, reason="not ours", at=NOV)
    assert undone.month == "2026-11"
    assert balances.at_close("2026-10")[places.mass(PlaceKind.ARRIVALS).pk] == 5
    assert places.mass(PlaceKind.ARRIVALS).pk not in balances.at_close("2026-11")
