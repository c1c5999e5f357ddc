"""Many hands at once on a real file or server database: nothing is overdrawn, nothing is lost."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import connection, connections

from inventory.errors import NotEnough
from inventory.ledger.rules import ledger, places
from inventory.material.rules import material
from inventory.material.rules.material import Material, Weighing
from inventory.material.sums.heat import HeatSpread
from inventory.models import Balance, Event, Movement, Part, PlaceKind, Posting, Reservation
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from tests.makers import NOON, Shop, key, stocked

pytestmark = pytest.mark.django_db(transaction=True)

HANDS = 8
TRIES_EACH = 6


def _in_threads(job: Any, count: int) -> list[Any]:
    def closing(number: int) -> Any:
        try:
            return job(number)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(HANDS) as pool:
        return list(pool.map(closing, range(count)))


def test_concurrent_takings_never_overdraw_and_numbers_stay_gapless() -> None:
    shelf, bench = places.mass(PlaceKind.ARRIVALS), places.mass(PlaceKind.BENCH)
    start = ledger.Line(places.mass(PlaceKind.WEARERS), shelf, 1_000)
    ledger.post(key=key(), kind="weigh_in", lines=[start], happened_at=NOON)

    def take(_number: int) -> int:
        try:
            line = ledger.Line(shelf, bench, 30)
            ledger.post(key=key(), kind="carry", lines=[line], happened_at=NOON)
        except NotEnough:
            return 0
        return 30

    taken_mg = sum(_in_threads(take, HANDS * TRIES_EACH))

    assert taken_mg == 990
    assert Balance.objects.get(pk=shelf.pk).quantity == 10
    assert Balance.objects.get(pk=bench.pk).quantity == 990
    numbers = sorted(Movement.objects.values_list("number", flat=True))
    assert numbers == list(range(1, 35))


def test_one_key_sent_by_many_hands_is_one_movement() -> None:
    same = key()
    shelf = places.mass(PlaceKind.ARRIVALS)
    customers = places.mass(PlaceKind.WEARERS)

    def send(_number: int) -> int:
        line = ledger.Line(customers, shelf, 77)
        return ledger.post(key=same, kind="weigh_in", lines=[line], happened_at=NOON).number

    answers = set(_in_threads(send, HANDS))

    assert answers == {1}
    assert Posting.objects.count() == 1
    assert Balance.objects.get(pk=shelf.pk).quantity == 77


def test_parts_received_by_many_hands_with_one_key_come_in_once() -> None:
    """Each hand has read the clock for itself."""
    same, part = key(), Part.objects.create(code="screw", name="Screw")

    def receive(number: int) -> int:
        at = NOON + timedelta(seconds=number)
        return stock.receive(key=same, part=part, pieces=5, cost_minor=0, at=at).number

    assert set(_in_threads(receive, HANDS)) == {1}
    assert part_stock.held(part) == 5


def test_box_filled_by_many_hands_with_one_key_is_filled_once(shop: Shop, bea: User) -> None:
    same = key()
    heat = HeatSpread.from_list([[1, 1_000_000]])
    pots = Material(polymer=shop.pp, colour=shop.slate, origin="virgin", heat=heat)
    bag = Weighing(scale=shop.box_scale, mass="5 kg")

    def fill(number: int) -> int:
        at = NOON + timedelta(seconds=number)
        return material.receive_to_box(key=same, material=pots, weighing=bag, at=at, by=bea).number

    assert len(set(_in_threads(fill, HANDS))) == 1
    assert Movement.objects.filter(kind="receive_feedstock").count() == 1
    assert Event.objects.filter(name="material.into_box").count() == 1


def test_last_pieces_are_promised_once() -> None:
    part = Part.objects.create(code="screw", name="Screw")
    stocked(part, 5)

    def promise(number: int) -> bool:
        try:
            stock.reserve(part=part, pieces=2, subject=f"S-{number}", at=NOON)
        except NotEnough:
            return False
        return True

    kept = sum(_in_threads(promise, HANDS))

    assert kept == 2
    assert Reservation.objects.count() == 2
    assert part_stock.available(part) == 1
    assert connection.vendor in {"sqlite", "postgresql"}
