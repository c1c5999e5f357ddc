"""Recipe cards: planned from the stock, weighed within tolerance or with a reason, repeated."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from inventory.errors import BadInput, Conflict, StaleState, WrongScan
from inventory.ledger.rules import places
from inventory.material.queries import boxes
from inventory.material.queries import cards as queries
from inventory.material.rules import cards, material
from inventory.material.sums import heat
from inventory.models import CardLine, Colour, Lot, Movement, Origin, PlaceKind, RecipeCard
from tests.makers import NOON, Shop, key
from tests.returns.material_makers import blend, card, lot_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def tideline(shop: Shop, olga: User) -> Colour:
    return blend(shop, olga)


@pytest.fixture
def lots(shop: Shop, bea: User) -> tuple[Lot, Lot]:
    slate = lot_of(shop, shop.slate, "8 kg", bea, cost_minor=1_600)
    return slate, lot_of(shop, shop.moss, "8 kg", bea, cost_minor=800)


def weigh(shop: Shop, one: RecipeCard, by: User, *masses: str, **changes: Any) -> RecipeCard:
    lines = list(one.lines.select_related("lot__colour"))
    typed = {line.lot: mass for line, mass in zip(lines, masses, strict=True) if mass}
    facts: dict[str, Any] = {
        "card": one,
        "lots": typed,
        "scanned": [lot.code for lot in typed],
        "scale": shop.box_scale,
        "reason": "",
    }
    return cards.weigh(key=key(), at=NOON, by=by, **(facts | changes))


def test_the_planner_says_lots_grams_and_cost(
    shop: Shop, bea: User, tideline: Colour, lots: tuple[Lot, Lot]
) -> None:
    made = card(shop, bea, tideline)
    assert {line.lot: line.wanted_mg for line in made.lines.all()} == {
        lots[0]: 7_000_000,
        lots[1]: 3_000_000,
    }
    assert made.recipe == [["slate", 700_000], ["moss", 300_000]]
    # 16.00 for 8 kg of slate, 8.00 for 8 kg of moss: by hand, 2.00 and 1.00 a kilogram.
    assert queries.worth_of(lots, NOON) == {lots[0]: 200, lots[1]: 100}


def test_a_stock_that_is_short_uses_the_tolerance_and_no_more(
    shop: Shop, bea: User, tideline: Colour
) -> None:
    lot_of(shop, shop.slate, "6.8 kg", bea)
    lot_of(shop, shop.moss, "8 kg", bea)
    lot_of(shop, Colour.objects.create(code="peat", name="Peat"), "8 kg", bea)
    made = card(shop, bea, tideline)
    assert sorted(line.wanted_mg for line in made.lines.all()) == [3_200_000, 6_800_000]
    with pytest.raises(Conflict):
        card(shop, bea, tideline, total_mg=10_001_000)


def test_regrind_of_a_marbled_blend_is_offered_where_a_recipe_takes_it(
    shop: Shop, olga: User, bea: User, tideline: Colour, lots: tuple[Lot, Lot]
) -> None:
    regrind = lot_of(shop, tideline, "2 kg", bea, origin=Origin.FEEDSTOCK)
    shares = ((shop.slate, 900_000), (tideline, 100_000))
    mud = blend(shop, olga, name="Mud", shares=shares, is_marbled=False)
    made = card(shop, bea, mud, total_mg=5_000_000)
    assert {line.lot: line.wanted_mg for line in made.lines.all()} == {
        lots[0]: 4_500_000,
        regrind: 500_000,
    }
    plain = card(shop, bea, tideline)
    assert regrind not in {line.lot for line in plain.lines.all()}


def test_what_was_weighed_is_issued_and_the_shares_stand_beside(
    shop: Shop, bea: User, tideline: Colour, lots: tuple[Lot, Lot]
) -> None:
    done = weigh(shop, card(shop, bea, tideline), bea, "7.1 kg", "2.9 kg")
    assert (done.state, done.reason) == ("weighed", "")
    assert done.movement is not None
    assert (done.movement.kind, done.movement.subject) == ("issue", "AV-2610")
    rows = queries.weighed(done, queries.taken_of(done))
    assert [(one.reached_ppm, one.is_kept) for one in rows] == [(710_000, True), (290_000, True)]
    assert boxes.held_mg(places.of_lot(lots[0])) == 900_000
    with pytest.raises(StaleState):
        weigh(shop, done, bea, "100 g", "100 g", reason="once more")
    assert Movement.objects.filter(kind="issue").count() == 1


def test_a_share_beyond_its_tolerance_is_asked_about_and_nothing_is_issued_meanwhile(
    shop: Shop, bea: User, tideline: Colour, lots: tuple[Lot, Lot]
) -> None:
    made = card(shop, bea, tideline)
    with pytest.raises(BadInput) as refused:
        weigh(shop, made, bea, "7.3 kg", "2.7 kg")
    assert refused.value.field == "reason"
    assert "73.0 % instead of 70.0 %" in str(refused.value.message)
    assert not Movement.objects.filter(kind="issue").exists()
    made.refresh_from_db()
    assert made.state == "open"
    done = weigh(shop, made, bea, "7.3 kg", "2.7 kg", reason="darker, as the customer asked")
    assert done.reason == "darker, as the customer asked"


def test_each_lot_is_proved_by_its_scan_and_another_lot_is_refused(
    shop: Shop, bea: User, tideline: Colour, lots: tuple[Lot, Lot]
) -> None:
    made = card(shop, bea, tideline)
    peat = lot_of(shop, Colour.objects.create(code="peat", name="Peat"), "8 kg", bea)
    with pytest.raises(BadInput):
        weigh(shop, made, bea, "7 kg", "3 kg", scanned=[lots[0].code])
    codes = [lots[0].code, lots[1].code, peat.code]
    with pytest.raises(WrongScan):
        weigh(shop, made, bea, "7 kg", "3 kg", scanned=codes)
    other = {peat: "1 kg"}
    with pytest.raises(BadInput) as refused:
        weigh(shop, made, bea, "7 kg", "3 kg", lots=other)
    assert refused.value.field == "lots"


def test_another_batch_like_that_one_is_one_step(
    shop: Shop, bea: User, tideline: Colour, lots: tuple[Lot, Lot]
) -> None:
    first = card(shop, bea, tideline, total_mg=1_000_000)
    again = card(shop, bea, tideline, total_mg=1_000_000, like=first, batch_code="AV-2611")
    assert (again.like, again.batch_code) == (first, "AV-2611")
    assert [line.wanted_mg for line in again.lines.all()] == [700_000, 300_000]
    dropped = cards.drop(key=key(), card=again, at=NOON, by=bea)
    assert dropped.state == "dropped"
    with pytest.raises(StaleState):
        weigh(shop, dropped, bea, "700 g", "300 g")


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"batch_code": ""}, "batch_code"),
        ({"batch_code": "x" * 21}, "batch_code"),
        ({"wanted_for": " "}, "wanted_for"),
        ({"wanted_for": "x" * 121}, "wanted_for"),
        ({"total_mg": 0}, "mass"),
    ],
)
def test_a_card_says_what_it_is_for(
    shop: Shop, bea: User, tideline: Colour, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        card(shop, bea, tideline, **change)
    assert refused.value.field == field


def test_a_base_colour_has_no_card(shop: Shop, bea: User) -> None:
    with pytest.raises(BadInput):
        card(shop, bea, shop.slate)


def test_the_database_refuses_cards_that_say_nothing(
    shop: Shop, bea: User, tideline: Colour, lots: tuple[Lot, Lot]
) -> None:
    made = card(shop, bea, tideline)
    rows = RecipeCard.objects.filter(pk=made.pk)
    for wrong in (
        lambda: rows.update(state="weighed"),
        lambda: rows.update(total_mg=0),
        lambda: CardLine.objects.create(card=made, lot=lots[0], wanted_mg=1),
        lambda: made.lines.update(wanted_mg=0),
    ):
        with pytest.raises(IntegrityError), transaction.atomic():
            wrong()


def test_purge_goes_to_its_own_box_or_to_waste(shop: Shop, bea: User) -> None:
    left = Colour.objects.create(code="leavings", name="Leavings", kind="purge")
    weighing = material.Weighing(scale=shop.box_scale, mass="100 g")
    what = material.Material(
        polymer=shop.pp, colour=left, origin=Origin.IN_PROCESS, heat=heat.of_passes(2)
    )
    facts: dict[str, Any] = {"weighing": weighing, "at": NOON, "by": bea}
    with pytest.raises(BadInput):
        material.keep_purge(key=key(), material=replace(what, colour=shop.slate), **facts)
    material.keep_purge(key=key(), material=what, **facts)
    box = places.box(polymer=shop.pp, colour=left, origin=Origin.IN_PROCESS)
    assert boxes.contents(box).mass_mg == 100_000
    material.waste_purge(key=key(), reason="slate to moss", **facts)
    assert boxes.held_mg(places.mass(PlaceKind.PURGE)) == 100_000
    assert Movement.objects.filter(kind="press_purge").count() == 2
