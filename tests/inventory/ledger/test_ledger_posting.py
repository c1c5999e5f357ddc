"""Posting, refusing, repeating and reversing movements."""

from __future__ import annotations

import pytest
from django.db import IntegrityError, connection

from inventory.errors import AlreadyReversed, KeyReused, NotEnough, WrongRecipe
from inventory.ledger.rules import ledger, places
from inventory.models import Balance, Movement, PlaceKind, Posting
from tests.makers import NOON, key

pytestmark = pytest.mark.django_db


def weigh_in(mass_mg: int, **changes: object) -> Movement:
    line = ledger.Line(places.mass(PlaceKind.CUSTOMERS), places.mass(PlaceKind.ARRIVALS), mass_mg)
    facts = {"key": key(), "kind": "weigh_in", "lines": [line], "happened_at": NOON} | changes
    return ledger.post(**facts)


def on_shelf_mg() -> int:
    return Balance.objects.get(place__kind=PlaceKind.ARRIVALS).quantity


def test_posting_moves_the_mass() -> None:
    movement = weigh_in(24_310)
    assert on_shelf_mg() == 24_310
    assert movement.number == 1
    assert movement.month == "2026-10"


def test_repeat_with_same_content_returns_the_first_movement() -> None:
    same = key()
    assert weigh_in(5_000, key=same) == weigh_in(5_000, key=same)
    assert on_shelf_mg() == 5_000


def test_repeat_with_other_content_is_refused() -> None:
    same = key()
    weigh_in(5_000, key=same)
    with pytest.raises(KeyReused):
        weigh_in(5_001, key=same)


def test_place_may_be_emptied_but_not_overdrawn() -> None:
    weigh_in(10)
    shelf, bench = places.mass(PlaceKind.ARRIVALS), places.mass(PlaceKind.BENCH)
    with pytest.raises(NotEnough):
        ledger.post(
            key=key(), kind="carry", lines=[ledger.Line(shelf, bench, 11)], happened_at=NOON
        )
    assert on_shelf_mg() == 10
    ledger.post(key=key(), kind="carry", lines=[ledger.Line(shelf, bench, 10)], happened_at=NOON)
    assert on_shelf_mg() == 0


def test_kind_outside_its_recipe_is_refused() -> None:
    line = ledger.Line(places.mass(PlaceKind.CUSTOMERS), places.mass(PlaceKind.DUST), 5)
    with pytest.raises(WrongRecipe):
        ledger.post(key=key(), kind="weigh_in", lines=[line], happened_at=NOON)


def test_reversal_mirrors_and_happens_once() -> None:
    movement = weigh_in(700)
    ledger.reverse(key=key(), movement=movement, reason="typed twice", at=NOON)
    assert on_shelf_mg() == 0
    with pytest.raises(AlreadyReversed):
        ledger.reverse(key=key(), movement=movement, reason="again", at=NOON)


@pytest.mark.parametrize("statement", ["UPDATE {} SET id = id", "DELETE FROM {}"])
@pytest.mark.parametrize("model", [Movement, Posting])
def test_database_itself_refuses_to_change_the_ledger(model: type, statement: str) -> None:
    weigh_in(3)
    with pytest.raises(IntegrityError, match="append-only"), connection.cursor() as cursor:
        cursor.execute(statement.format(model._meta.db_table))
