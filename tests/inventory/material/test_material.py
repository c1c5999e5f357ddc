"""Feedstock, scrap, issue, counts, opening and disposal."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.counting import Counted
from inventory.errors import BadInput, KeyReused, NotEnough
from inventory.ledger.rules import ledger, places
from inventory.material.queries import boxes
from inventory.material.rules import material
from inventory.material.rules.material import Material, Weighing
from inventory.material.sums import heat
from inventory.models import Balance, Lot, Movement, Place, PlaceKind
from tests.makers import NOON, Shop, key

pytestmark = pytest.mark.django_db


def pots(shop: Shop, **changes: object) -> Material:
    facts: dict[str, object] = {
        "polymer": shop.pp,
        "colour": shop.slate,
        "origin": "post_consumer_feedstock",
        "heat": heat.of_passes(1),
        "note": "nursery pots",
        "cost_minor": 700,
    }
    return Material(**(facts | changes))  # type: ignore[arg-type]


def delivery(shop: Shop, by: User, mass: str = "5 kg", **changes: Any) -> dict[str, Any]:
    weighed = Weighing(scale=shop.box_scale, mass=mass)
    facts = {"key": key(), "material": pots(shop), "weighing": weighed, "at": NOON, "by": by}
    return facts | changes


def held(kind: PlaceKind) -> int:
    rows = Balance.objects.filter(place__kind=kind, place__unit="mg")
    return sum(balance.quantity for balance in rows)


def count(place: Place, shop: Shop, by: User, mass: str, **changes: Any) -> Counted:
    weighed = Weighing(scale=shop.box_scale, mass=mass)
    facts = {"key": key(), "place": place, "weighing": weighed, "reason": "month end"}
    return material.count(**(facts | {"at": NOON, "by": by} | changes))  # type: ignore[arg-type]


def test_feedstock_in_a_box_brings_its_cost_heat_and_note(shop: Shop, bea: User) -> None:
    movement = material.receive_to_box(**delivery(shop, bea))
    assert (held(PlaceKind.BOX), held(PlaceKind.SELLERS)) == (5_000_000, -5_000_000)
    assert (movement.cost_minor, movement.reason) == (700, "nursery pots")
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_feedstock")
    inside = boxes.contents(box)
    assert (inside.mass_mg, inside.heat) == (5_000_000, heat.of_passes(1))


def test_feedstock_as_a_lot_can_be_issued(shop: Shop, bea: User) -> None:
    lot = material.receive_as_lot(**delivery(shop, bea, material=pots(shop, origin="virgin")))
    assert (lot.origin, lot.supplier_note, lot.heat) == (
        "virgin",
        "nursery pots",
        [[1, 1_000_000]],
    )
    assert held(PlaceKind.LOT) == 5_000_000


@pytest.mark.parametrize("rule", [material.receive_to_box, material.receive_as_lot])
@pytest.mark.parametrize("origin", ["post_consumer_return", "in_process", "nowhere"])
def test_only_feedstock_and_virgin_are_bought(
    shop: Shop, bea: User, rule: Any, origin: str
) -> None:
    with pytest.raises(BadInput) as refused:
        rule(**delivery(shop, bea, material=pots(shop, origin=origin)))
    assert refused.value.field == "origin"


@pytest.mark.parametrize(
    ("changes", "field"), [({"cost_minor": -1}, "cost_minor"), ({"note": "x" * 121}, "note")]
)
def test_bad_material_is_named(
    shop: Shop, bea: User, changes: dict[str, object], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        material.receive_to_box(**delivery(shop, bea, material=pots(shop, **changes)))
    assert refused.value.field == field


def test_scrap_comes_from_production_and_is_never_mixed_with_returns(shop: Shop, bea: User) -> None:
    material.return_scrap(**delivery(shop, bea, material=pots(shop, origin="in_process")))
    assert held(PlaceKind.PRESS) == -5_000_000
    assert Place.objects.get(kind="box").origin == "in_process"
    with pytest.raises(BadInput):
        material.return_scrap(**delivery(shop, bea, material=pots(shop)))


def test_opening_stock_may_be_of_any_origin(shop: Shop, bea: User) -> None:
    returned = pots(shop, origin="post_consumer_return", cost_minor=0)
    material.open_box(**delivery(shop, bea, material=returned))
    material.open_lot(**delivery(shop, bea, material=returned))
    assert held(PlaceKind.UNEXPLAINED) == -10_000_000
    with pytest.raises(BadInput):
        material.open_lot(**delivery(shop, bea, material=pots(shop, origin="moon")))


@pytest.mark.parametrize("rule", [material.receive_to_box, material.receive_as_lot])
def test_repeat_receives_once_and_other_content_is_refused(
    shop: Shop, bea: User, rule: Any
) -> None:
    facts = delivery(shop, bea)
    assert rule(**facts) == rule(**facts)
    assert held(PlaceKind.SELLERS) == -5_000_000
    with pytest.raises(KeyReused):
        rule(**(facts | {"weighing": Weighing(scale=shop.box_scale, mass="6 kg")}))


def issue(lots: dict[Lot, str], shop: Shop, by: User, **changes: Any) -> Movement:
    labels = [lot.code for lot, mass in lots.items() if mass not in ("", "0")]
    facts = {
        "key": key(),
        "lots": lots,
        "scanned": labels,
        "batch_code": " AV-2610 ",
        "scale": shop.box_scale,
    }
    return material.issue(**(facts | {"at": NOON, "by": by} | changes))  # type: ignore[arg-type]


def test_issue_takes_each_lot_as_weighed_under_the_batch(shop: Shop, bea: User) -> None:
    one, two = (material.receive_as_lot(**delivery(shop, bea)) for _ in range(2))
    unused = material.receive_as_lot(**delivery(shop, bea))
    movement = issue({one: "1 kg", two: "500 g", unused: ""}, shop, bea)
    assert movement.subject == "AV-2610"
    assert held(PlaceKind.PRESS) == 1_500_000
    assert boxes.held_mg(places.of_lot(unused)) == 5_000_000
    assert {posting.reading.mass_mg for posting in movement.postings.all() if posting.reading} == {
        1_000_000,
        500_000,
    }


def test_lot_gives_no_more_than_it_holds(shop: Shop, bea: User) -> None:
    lot = material.receive_as_lot(**delivery(shop, bea))
    with pytest.raises(NotEnough, match=rf"Lot {lot.code}: it holds 5000.000 g, and .* 5001.000 g"):
        issue({lot: "5.001 kg"}, shop, bea)
    issue({lot: "5 kg"}, shop, bea)
    assert boxes.held_mg(places.of_lot(lot)) == 0


@pytest.mark.parametrize(
    ("typed", "code", "field"),
    [("", "AV-1", "lots"), ("1 kg", " ", "batch_code"), ("1 kg", "x" * 21, "batch_code")],
)
def test_issue_names_what_is_missing(
    shop: Shop, bea: User, typed: str, code: str, field: str
) -> None:
    lot = material.receive_as_lot(**delivery(shop, bea))
    with pytest.raises(BadInput) as refused:
        issue({lot: typed}, shop, bea, batch_code=code)
    assert refused.value.field == field


@pytest.mark.parametrize(
    ("typed", "difference_mg"), [("4 999 g", 1_000), ("5 001 g", -1_000), ("0", 5_000_000)]
)
def test_count_puts_the_place_right(shop: Shop, bea: User, typed: str, difference_mg: int) -> None:
    box = material.receive_to_box(**delivery(shop, bea)).postings.get().target
    movement = count(box, shop, bea, typed).movement
    assert movement is not None
    assert (movement.kind, movement.reason) == ("count_mass", "month end")
    assert held(PlaceKind.UNEXPLAINED) == difference_mg
    assert held(PlaceKind.BOX) == 5_000_000 - difference_mg


def test_count_that_agrees_moves_nothing_and_repeats(shop: Shop, bea: User) -> None:
    box = material.receive_to_box(**delivery(shop, bea)).postings.get().target
    same = key()
    assert count(box, shop, bea, "5 kg", key=same) == Counted(None)
    assert count(box, shop, bea, "5 kg", key=same) == Counted(None)
    with pytest.raises(KeyReused):
        count(box, shop, bea, "6 kg", key=same)


def test_count_needs_a_reason_and_a_place_that_is_counted(shop: Shop, bea: User) -> None:
    with pytest.raises(BadInput) as refused:
        count(places.mass(PlaceKind.SALVAGE), shop, bea, "1 kg", reason=" ")
    assert refused.value.field == "reason"
    with pytest.raises(BadInput) as refused:
        count(places.mass(PlaceKind.BENCH), shop, bea, "1 kg")
    assert refused.value.field == "place"


def test_waste_is_taken_away_whole(shop: Shop, bea: User) -> None:
    bench, dust = places.mass(PlaceKind.BENCH), places.mass(PlaceKind.FOREIGN)
    customers = places.mass(PlaceKind.WEARERS)
    arrivals = places.mass(PlaceKind.ARRIVALS)
    for kind, line in (
        ("weigh_in", ledger.Line(customers, arrivals, 900)),
        ("carry", ledger.Line(arrivals, bench, 900)),
        ("strip_down", ledger.Line(bench, dust, 900)),
    ):
        ledger.post(key=key(), kind=kind, lines=[line], happened_at=NOON)
    facts: dict[str, Any] = {"place": dust, "reason": "city tip", "at": NOON, "by": bea}
    same = key()
    movement = material.dispose(key=same, **facts)
    assert material.dispose(key=same, **facts) == movement
    assert (held(PlaceKind.FOREIGN), held(PlaceKind.SELLERS)) == (0, 900)
    for place in (dust, bench):
        with pytest.raises(BadInput) as refused:
            material.dispose(key=key(), **(facts | {"place": place}))
        assert refused.value.field == "place"
