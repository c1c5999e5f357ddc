"""Posting, refusing, repeating and reversing movements."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import IntegrityError, connection
from django.db.models import QuerySet

from inventory import events, triggers
from inventory.errors import AlreadyReversed, KeyReused, NotEnough, WrongRecipe
from inventory.ledger.rules import ledger, places
from inventory.models import Balance, Movement, PlaceKind, Posting, Reading, Scale
from inventory.weighing import rules as weighing
from tests import makers
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


def read(mass_mg: int, typed: str) -> Reading:
    scale = Scale.objects.first() or makers.scale(division_mg=1)
    return weighing.read(scale=scale, typed=typed, at=NOON)


def weighed(mass_mg: int, reading: Reading, **changes: object) -> Movement:
    shelf, customers = places.mass(PlaceKind.ARRIVALS), places.mass(PlaceKind.CUSTOMERS)
    return weigh_in(mass_mg, lines=[ledger.Line(customers, shelf, mass_mg, reading)], **changes)


OTHERWISE = [
    {"story": ledger.Story(reason="typed anew", heat=[[1, 1_000_000]])},
    {"story": ledger.Story(reason="found", heat=[[2, 1_000_000]])},
    {"story": ledger.Story(reason="found")},
]


@pytest.mark.parametrize("is_of_old", [False, True])
@pytest.mark.parametrize("other", OTHERWISE)
def test_repeat_with_another_reason_or_heat_is_refused(
    other: dict[str, Any], is_of_old: bool
) -> None:
    same = {"key": key(), "story": ledger.Story(reason="found", heat=[[1, 1_000_000]])}
    movement = weigh_in(5_000, **same)
    if is_of_old:
        as_of_old(movement)
    assert weigh_in(5_000, **same) == movement
    with pytest.raises(KeyReused):
        weigh_in(5_000, **(same | other))


@pytest.mark.parametrize("is_of_old", [False, True])
def test_repeat_with_the_same_reading_is_one_and_with_another_refused(is_of_old: bool) -> None:
    same = key()
    movement = weighed(5_000, read(5_000, "5 g"), key=same)
    if is_of_old:
        as_of_old(movement)
    assert weighed(5_000, read(5_000, "5 g"), key=same) == movement
    for other in (read(5_000, "5,000 g"), read(4_999, "4,999 g"), None):
        with pytest.raises(KeyReused):
            weighed(5_000, other, key=same)  # type: ignore[arg-type]


def as_of_old(movement: Movement) -> None:
    """The fingerprint that movements had before reason, heat and readings were part of it."""
    legs = [[row.source.code, row.target.code, row.quantity] for row in movement.postings.all()]
    at = movement.happened_at.isoformat()
    old = events.fingerprint([movement.kind, legs, movement.subject, movement.cost_minor, at])
    triggers.remove(connection)
    QuerySet(Movement).filter(pk=movement.pk).update(fingerprint=old)
    triggers.install(connection)


def test_movement_is_recorded_at_the_moment_its_caller_read() -> None:
    assert weigh_in(5_000).recorded_at == NOON


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
