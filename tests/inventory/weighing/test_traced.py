"""How well what lies in boxes, lots and on shelves is known, from the books' own readings."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.contrib.auth.models import User

from inventory.ledger.rules import carrying, places
from inventory.material.rules import grinding, material
from inventory.material.rules.grinding import GrindOut
from inventory.material.rules.material import Weighing
from inventory.models import PlaceKind, Reading
from inventory.weighing import rules as weighing
from inventory.weighing.queries import traced
from tests.inventory import month_makers
from tests.inventory.month_makers import OCT, at, box, move
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db


def stripped(shop: Shop, tag: str, typed: str, *, at_: datetime = OCT) -> None:
    """A frame of just the mass of its plastic comes in and goes to the box."""
    whole = weighing.parse(scale=shop.fine_scale, typed=typed)
    month_makers.weighed_in(tag, whole, at_=at_)
    month_makers.stripped(shop, tag, typed, at_=at_)


def u_ug(*readings: Reading, signs: tuple[int, ...] = ()) -> float:
    """Expanded uncertainty of a signed sum on one scale, by the rule in words."""
    return month_makers.doubt_ug(zip(signs or (1,) * len(readings), readings, strict=True))


def test_a_box_is_known_as_the_sum_of_what_was_put_in(shop: Shop) -> None:
    for tag, typed in (("F-AAAA-1111", "19.400 g"), ("F-AAAA-2222", "18.300 g")):
        stripped(shop, tag, typed)
    known = traced.of_material()[box(shop).code]
    assert known.readings == 2
    assert known.booked_mg == 0
    assert known.expanded_ug == pytest.approx(u_ug(*Reading.objects.all()), abs=1)
    assert traced.of_place(box(shop)) == known


def test_a_lot_is_known_by_its_own_reading_and_its_box_by_nothing(
    shop: Shop, bea: User, ben: User
) -> None:
    stripped(shop, "F-AAAA-1111", "19.400 g")
    run = grinding.propose(key=key(), box=box(shop), at=OCT, by=bea)
    run = grinding.confirm(
        key=key(), run=run, seen_mg=run.box_mg, scanned=run.box.code, at=OCT, by=ben
    )
    stripped(shop, "F-AAAA-2222", "18.300 g")
    late = Reading.objects.latest("pk")
    out = GrindOut(scale=shop.fine_scale, flake="19.10 g", dust="0.20 g", minutes=10)
    run = grinding.finish(key=key(), run=run, out=out, at=OCT, by=bea)
    assert run.lot is not None
    flake = Reading.objects.get(mass_mg=19_100)
    assert traced.of_place(run.lot.place).expanded_ug == pytest.approx(u_ug(flake), abs=1)
    assert traced.of_place(box(shop)).expanded_ug == pytest.approx(u_ug(late), abs=1)


def test_a_count_replaces_what_was_known_before(shop: Shop, bea: User) -> None:
    stripped(shop, "F-AAAA-1111", "19.400 g")
    counted = Weighing(scale=shop.fine_scale, mass="19.35 g")
    material.count(key=key(), place=box(shop), weighing=counted, reason="count", at=OCT, by=bea)
    last = Reading.objects.latest("pk")
    assert traced.of_place(box(shop)).expanded_ug == pytest.approx(u_ug(last), abs=1)


def test_typed_opening_stock_is_not_weighed(shop: Shop) -> None:
    move("opening", (at(PlaceKind.UNEXPLAINED), box(shop), 100_000))
    known = traced.of_place(box(shop))
    assert (known.booked_mg, known.is_weighed) == (100_000, False)


def test_a_carried_frame_is_known_by_its_weigh_in(shop: Shop) -> None:
    leg = (at(PlaceKind.WEARERS), at(PlaceKind.ARRIVALS), 24_310)
    reading = Weighing(scale=shop.fine_scale, mass="24.31 g").read(OCT)
    move("weigh_in", leg, reading=reading, subject="F-AAAA-1111")
    carrying.carry(key=key(), subject="F-AAAA-1111", to=PlaceKind.HOLD, at=OCT)
    known = traced.of_subject("F-AAAA-1111")
    assert known[places.mass(PlaceKind.HOLD).code].expanded_ug == pytest.approx(
        u_ug(reading), abs=1
    )
    assert places.mass(PlaceKind.ARRIVALS).code not in known


def test_a_scale_past_its_check_marks_the_box(shop: Shop) -> None:
    shop.fine_scale.check_due = date(2026, 10, 1)
    shop.fine_scale.save()
    stripped(shop, "F-AAAA-1111", "19.400 g")
    flag = ((str(shop.fine_scale.pk), "past_check"), 1)
    assert traced.of_place(box(shop)).flags == (flag,)


def test_readings_under_two_checks_do_not_share_their_error(shop: Shop) -> None:
    stripped(shop, "F-AAAA-1111", "19.400 g")
    shop.fine_scale.check_due = date(2028, 6, 30)
    shop.fine_scale.save()
    stripped(shop, "F-AAAA-2222", "18.300 g", at_=datetime(2026, 10, 20, 9, tzinfo=UTC))
    one, two = Reading.objects.order_by("pk")
    apart = (u_ug(one) ** 2 + u_ug(two) ** 2) ** 0.5
    assert traced.of_place(box(shop)).expanded_ug == pytest.approx(apart, abs=1)
