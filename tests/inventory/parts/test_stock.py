"""Parts that come in or are counted: the movement itself is the record of the rule."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from inventory.counting import Counted
from inventory.errors import KeyReused
from inventory.models import Event, Movement
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db
LATER = NOON + timedelta(minutes=1)


def test_parts_received_again_under_one_key_come_in_once(shop: Shop) -> None:
    same: dict[str, Any] = {"key": key(), "part": shop.screw, "pieces": 10, "cost_minor": 90}
    held = part_stock.held(shop.screw)
    movement = stock.receive(**same, at=NOON)
    assert stock.receive(**same, at=LATER) == movement
    assert part_stock.held(shop.screw) == held + 10
    for other in ({"part": shop.arm}, {"pieces": 11}, {"cost_minor": 91}):
        with pytest.raises(KeyReused):
            stock.receive(**(same | other), at=NOON)


def test_count_repeated_is_one_count_and_another_under_its_key_is_refused(shop: Shop) -> None:
    same: dict[str, Any] = {"key": key(), "part": shop.screw, "counted": 7, "reason": "shelf fell"}
    counted = stock.count(**same, at=NOON)
    stock.receive(key=key(), part=shop.screw, pieces=5, cost_minor=0, at=NOON)
    assert stock.count(**same, at=LATER) == counted
    assert part_stock.held(shop.screw) == 12
    for other in ({"part": shop.arm}, {"counted": 8}, {"reason": "month end"}):
        with pytest.raises(KeyReused):
            stock.count(**(same | other), at=NOON)


def test_key_of_another_movement_is_refused(shop: Shop) -> None:
    one = key()
    stock.receive(key=one, part=shop.screw, pieces=10, cost_minor=0, at=NOON)
    with pytest.raises(KeyReused):
        stock.count(key=one, part=shop.screw, counted=10, reason="", at=NOON)


def test_count_that_agrees_leaves_no_row(shop: Shop) -> None:
    before = Movement.objects.count()
    facts: dict[str, Any] = {"part": shop.screw, "counted": part_stock.held(shop.screw)}
    assert stock.count(key=key(), **facts, reason="month end", at=NOON) == Counted(None)
    assert (Movement.objects.count(), Event.objects.count()) == (before, 0)
