"""A box is read back to when it was empty last, with the outcome of its whole history."""

from __future__ import annotations

from itertools import groupby

import pytest
from django.contrib.auth.models import User

from inventory.ledger.queries import movements
from inventory.ledger.rules import reversing
from inventory.material.queries import boxes
from inventory.material.sums.box_heat import Step, replay
from inventory.material.sums.heat import HeatSpread
from inventory.models import Movement, Place, PlaceKind, Posting
from tests.inventory.month_makers import at, box, move
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db


def whole_history(place: Place, up_to: int | None = None) -> tuple[int, int, HeatSpread | None]:
    """Mass, last movement and heat from every posting there ever was."""
    rows = Posting.objects.select_related("movement").order_by("movement__number", "line")
    steps: list[tuple[int, Step]] = []
    for number, group in groupby(rows, key=lambda posting: posting.movement.number):
        listed = [p for p in group if place.pk in (p.source_id, p.target_id)]
        change = sum(p.quantity if p.target_id == place.pk else -p.quantity for p in listed)
        if listed and (up_to is None or number <= up_to):
            data, undoes = listed[0].movement.heat, listed[0].movement.reverses_id
            known = data is not None and (change > 0 or undoes is not None)
            steps.append((number, Step(change, HeatSpread.from_list(data) if known else None)))
    mass_mg = sum(step.change_mg for _number, step in steps)
    return mass_mg, steps[-1][0] if steps else 0, replay(step for _number, step in steps)


def told(place: Place, up_to: int | None = None) -> tuple[int, int, HeatSpread | None]:
    inside = boxes.contents(place, up_to=up_to)
    return inside.mass_mg, inside.last_movement, inside.heat


def put_in(shop: Shop, mg: int, passes: int) -> Movement:
    leg = (at(PlaceKind.SELLERS), box(shop), mg)
    return move("receive_feedstock", leg, heat=[[passes, 1_000_000]])


def ground(shop: Shop, mg: int) -> None:
    move("grind", (box(shop), at(PlaceKind.DUST), mg), subject="G-2222-3333")


def test_at_every_movement_it_is_as_the_whole_history_has_it(shop: Shop, bea: User) -> None:
    put_in(shop, 10_000, 1)
    put_in(shop, 5_000, 3)
    ground(shop, 15_000)
    undone = put_in(shop, 2_000, 2)
    put_in(shop, 8_000, 4)
    reversing.reverse(
        key=key(), movement=undone, reason="typed twice", at=undone.happened_at, by=bea
    )
    ground(shop, 3_000)
    move("count_mass", (at(PlaceKind.UNEXPLAINED), box(shop), 40), reason="count")
    ground(shop, 5_040)
    last = Movement.objects.latest("number").number
    for up_to in (*range(last + 1), None):
        assert told(box(shop), up_to) == whole_history(box(shop), up_to), up_to


def test_what_lay_in_it_before_it_was_empty_is_not_read(shop: Shop) -> None:
    for _ in range(30):
        put_in(shop, 1_000, 1)
    ground(shop, 30_000)
    put_in(shop, 700, 2)
    place, rows = box(shop), Posting.objects.all()
    assert len(list(boxes._felt(place, rows, boxes.contents(place).mass_mg))) == 1


def test_an_empty_box_names_its_last_movement(shop: Shop) -> None:
    put_in(shop, 1_000, 1)
    ground(shop, 1_000)
    assert told(box(shop)) == (0, Movement.objects.latest("number").number, None)


def test_movements_are_found_by_a_box_code_longer_than_a_subject(shop: Shop) -> None:
    place = box(shop)
    Place.objects.filter(pk=place.pk).update(code="box-pp-" + "long-colour-name-" * 2 + "returned")
    place.refresh_from_db()
    assert len(place.code) > 40
    leg = (at(PlaceKind.SELLERS), place, 1_000)
    moved = move("receive_feedstock", leg, subject=place.code[:40])
    assert list(movements.found(subject=place.code)) == [moved]
    assert list(movements.found(subject="F-NONE-2222")) == []
