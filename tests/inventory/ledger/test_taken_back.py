"""What a month takes back of an earlier one goes with the reading that it came with."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from inventory.ledger.rules import ledger
from inventory.models import Month, Movement, Reading
from inventory.months import rules as months
from inventory.months.queries import recovered
from inventory.weighing.queries import traced
from tests import furnished
from tests.inventory.month_makers import DEC_2, NOV, OCT, box, doubt_ug, stripped, weighed_in
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db

JAN_2 = datetime(2027, 1, 2, 9, tzinfo=UTC)
DEC = datetime(2026, 12, 9, 9, tzinfo=UTC)


def credited(shop: Shop, tag: str, typed: str, when: datetime) -> Movement:
    """A frame comes in and its plastic goes to the box."""
    weighed_in(tag, 24_000, at_=when)
    return stripped(shop, tag, typed, at_=when, cost=100)


@pytest.fixture
@furnished.once
def first(shop: Shop) -> Movement:
    """October: two frames credited, and closed. November: a third; the first is taken back."""
    moved = credited(shop, "F-AAAA-1111", "19.400 g", OCT)
    credited(shop, "F-AAAA-2222", "18.300 g", OCT)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    credited(shop, "F-AAAA-3333", "17.250 g", NOV)
    ledger.reverse(key=key(), movement=moved, reason="another frame's plastic", at=NOV)
    return moved


def of_readings(signs: dict[int, int]) -> float:
    """Expanded uncertainty of a signed sum on one scale, by GUM 5.2.2, note 1, in words."""
    rows = {row.mass_mg: row for row in Reading.objects.all()}
    return doubt_ug((sign, rows[mass_mg]) for mass_mg, sign in signs.items())


def expanded(label: str, row: str, column: str) -> int:
    return recovered.of_month(label).known_of(row, column).expanded_ug


def test_closing_rests_on_what_is_left_only(shop: Shop, first: Movement) -> None:
    for row in (box(shop).code, "total"):
        closing = expanded("2026-11", row, "closing")
        assert closing == pytest.approx(of_readings({18_300: 1, 17_250: 1}), abs=1)
        opening = expanded("2026-11", row, "opening")
        assert opening == expanded("2026-10", row, "closing")
        flow = expanded("2026-11", row, "credited")
        assert flow == pytest.approx(of_readings({17_250: 1, 19_400: -1}), abs=1)
    assert recovered.of_month("2026-11").known_of("total", "closing").readings == 2


def test_stock_page_and_month_page_agree_on_it(shop: Shop, first: Movement) -> None:
    now = traced.of_place(box(shop))
    assert now == traced.of_every_place()[box(shop).code] == traced.of_material()[box(shop).code]
    assert now == recovered.of_month("2026-11").known_of(box(shop).code, "closing")
    last = Movement.objects.order_by("-number").values_list("number", flat=True)[0]
    assert traced.of_place_at(box(shop), last) == now


def test_month_that_takes_back_through_one_that_did_starts_before_both(
    shop: Shop, first: Movement
) -> None:
    """December takes back November's credit, November October's: one reading of three is left."""
    third = Movement.objects.get(subject="F-AAAA-3333", kind="strip_down")
    months.close(key=key(), label="2026-11", at=DEC_2, by=None)
    assert Month.objects.get(label="2026-11").figures["edition"] == recovered.EDITION
    ledger.reverse(key=key(), movement=third, reason="not ours", at=DEC)
    left = pytest.approx(of_readings({18_300: 1}), abs=1)
    assert expanded("2026-12", "total", "closing") == left
    assert expanded("2026-12", "total", "opening") == expanded("2026-11", "total", "closing")
    months.close(key=key(), label="2026-12", at=JAN_2, by=None)
    assert expanded("2026-12", "total", "closing") == left
    assert traced.of_place(box(shop)).expanded_ug == left


def test_answers_say_how_well_late_movements_and_the_worth_are_known(
    shop: Shop, first: Movement
) -> None:
    """A frame of October that came in when October was closed: booked in November, as late."""
    late = credited(shop, "F-AAAA-4444", "16.100 g", OCT)
    november = recovered.of_month("2026-11")
    data = json.loads(recovered.canonical(november))
    known = {row["number"]: row["known"] for row in data["late"]}[late.number]
    assert known["expanded_ug"] == pytest.approx(of_readings({16_100: 1}), abs=1)
    (worth,) = data["worth"]
    closing = november.total.known_of("closing")
    assert worth["known"]["closing_mg"]["expanded_ug"] == closing.expanded_ug


def test_every_mass_of_the_worth_says_how_well_it_is_known(shop: Shop, first: Movement) -> None:
    """What is taken back is netted as a count is: 19.400 g short, and no negative receipt."""
    november = recovered.of_month("2026-11")
    (line,) = november.worth
    data = line.known
    assert (line.received_mg, line.written_off_mg) == (17_250, 19_400)
    assert data["received_mg"].expanded_ug == pytest.approx(of_readings({17_250: 1}), abs=1)
    assert data["written_off_mg"].expanded_ug == pytest.approx(of_readings({19_400: 1}), abs=1)
    assert data["closing_mg"] == november.known_of("total", "closing")
    assert set(data) == {
        f"{name}_mg"
        for name in ("opening", "received", "issued", "normal_loss", "written_off", "closing")
    }
