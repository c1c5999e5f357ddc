"""A batch whose front and arms differ: heat by material, scrap and spoiled pairs by box."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput
from inventory.ledger.rules import places, reversing
from inventory.material.queries import boxes
from inventory.material.rules import cards, material
from inventory.material.sums import heat
from inventory.models import Colour, Movement, Origin, Place, PlaceKind
from inventory.months.queries import recovered
from returns.models import ProductionBatch, ReturnedFrame
from returns.moulding import rules as moulding
from returns.regrind.queries import frame_heat
from returns.regrind.rules import stripdown
from returns.spoiling import queries, rules
from returns.spoiling.rules import ScrapHeap, What
from tests.makers import NOON, Shop, key
from tests.returns.material_makers import TwoTone, admit, card, lot_of, two_tone
from tests.returns.regrind.test_by_material import own, parts
from tests.returns.workroom_makers import graded, held

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(shop: Shop, olga: User) -> TwoTone:
    return two_tone(shop, olga)


@pytest.fixture
def batch(shop: Shop, made: TwoTone, bea: User) -> ProductionBatch:
    """Fronts by a recipe card, of flake once melted; arms of flake thrice melted."""
    slate, moss = lot_of(shop, shop.slate, "8 kg", bea), lot_of(shop, shop.moss, "8 kg", bea)
    old = lot_of(shop, shop.moss, "8 kg", bea, heat=heat.of_passes(3))
    planned = card(shop, bea, made.tideline)
    facts: dict[str, Any] = {"scale": shop.box_scale, "at": NOON, "by": bea}
    lots = {slate: "7 kg", moss: "3 kg"}
    codes = [lot.code for lot in lots]
    cards.weigh(key=key(), card=planned, lots=lots, scanned=codes, reason="", **facts)
    material.issue(key=key(), lots={old: "6 kg"}, scanned=[old.code], batch_code="AV-2610", **facts)
    return moulding.mould(
        key=key(),
        colourway=made.way,
        code="AV-2610",
        made_on=NOON.date(),
        pieces=500,
        at=NOON,
        by=bea,
    )


def book(
    shop: Shop, batch: ProductionBatch, by: User, *heaps: ScrapHeap, **changes: Any
) -> Movement:
    what = What(**({"step": "drilling", "cause": "hole-off", "pieces": 3} | changes))
    scale = shop.box_scale
    return rules.book(key=key(), batch=batch, what=what, scale=scale, heaps=heaps, at=NOON, by=by)


def scrap_box(shop: Shop, colour: Colour) -> Place:
    return places.box(polymer=shop.pp, colour=colour, origin=Origin.IN_PROCESS)


def test_each_material_of_a_batch_keeps_the_passes_of_its_own_flake(
    shop: Shop, made: TwoTone, batch: ProductionBatch, bea: User
) -> None:
    # 10 kg once melted and 6 kg thrice, and the moulding itself.
    assert batch.heat == [[2, 625_000], [4, 375_000]]
    assert {row.colour: row.heat for row in batch.materials.all()} == {
        made.tideline: [[2, 1_000_000]],
        shop.moss: [[4, 1_000_000]],
    }


@pytest.mark.parametrize("is_known", [True, False])
def test_a_frame_carries_each_components_own_passes_to_its_box(
    shop: Shop, made: TwoTone, batch: ProductionBatch, bea: User, is_known: bool
) -> None:
    batch.sold.create(month="2026-10", pieces=100, imported_at=NOON)
    frame = graded(shop, bea, state="to_strip")
    known = batch if is_known else None
    ReturnedFrame.objects.filter(pk=frame.pk).update(colourway=made.way, batch=known)
    frame = ReturnedFrame.objects.get(pk=frame.pk)
    stripped = stripdown.strip(
        key=key(), frame=frame, parts=parts(shop, own(shop.moss, "8.200 g")), at=NOON, by=bea
    )
    spreads = {heap.box.colour: boxes.contents(heap.box).heat for heap in stripped.heaps.all()}
    assert spreads == {made.tideline: heat.of_passes(2), shop.moss: heat.of_passes(4)}
    stripdown.undo(key=key(), frame=stripped, reason="The wrong frame.", at=NOON, by=bea)
    assert all(boxes.contents(box).heat is None for box in Place.objects.filter(kind="box"))


def test_what_breaks_together_has_the_passes_of_both_by_the_bills_masses(
    shop: Shop, made: TwoTone, batch: ProductionBatch, bea: User
) -> None:
    frame = graded(shop, bea, state="to_strip")
    ReturnedFrame.objects.filter(pk=frame.pk).update(colourway=made.way, batch=batch)
    frame = ReturnedFrame.objects.get(pk=frame.pk)
    front_mg, arms_mg = 11_200, 8_200
    spread = frame_heat.of_heap(frame, rules.catalogue.materials_of(made.way))
    assert spread.share_at_least(4) == round(arms_mg * 1_000_000 / (front_mg + arms_mg))


def test_a_batch_of_two_materials_asks_which_box_its_scrap_goes_to(
    shop: Shop, made: TwoTone, batch: ProductionBatch, olga: User, bea: User
) -> None:
    weighing = material.Weighing(scale=shop.box_scale, mass="200 g")

    def back(into: Colour | None) -> Movement:
        return rules.return_scrap(
            key=key(), batch=batch, into=into, weighing=weighing, at=NOON, by=bea
        )

    for wrong in (None, shop.slate, made.dark):
        with pytest.raises(BadInput) as refused:
            back(wrong)
        assert refused.value.field == "colour"
    back(shop.moss)
    admit(made.dark, olga, made.tideline, shop.moss)
    back(made.dark)
    assert boxes.contents(scrap_box(shop, shop.moss)).heat == heat.of_passes(4)
    assert boxes.contents(scrap_box(shop, made.dark)).heat == heat.HeatSpread.from_list(batch.heat)


def test_spoiled_pairs_of_two_materials_are_cut_apart_and_counted_once(
    shop: Shop, made: TwoTone, batch: ProductionBatch, bea: User
) -> None:
    front = ScrapHeap(mass="34 g", into=made.tideline)
    arms = ScrapHeap(mass="25 g", into=shop.moss)
    for bad in (
        [ScrapHeap(mass="59 g")],
        [front, front],
        [ScrapHeap(mass="59 g", into=shop.slate)],
    ):
        with pytest.raises(BadInput):
            book(shop, batch, bea, *bad)
    movement = book(shop, batch, bea, front, arms)
    assert boxes.contents(scrap_box(shop, made.tideline)).heat == heat.of_passes(2)
    assert boxes.held_mg(scrap_box(shop, shop.moss)) == 25_000
    assert queries.by_step(batch.code)["drilling"] == 3
    told = recovered.of_month("2026-10")
    row = next(one for one in told.beyond if one.key == "scrap.drilling.hole-off")
    assert {name: cell.quantity for name, cell in row.flows.cells.items()} == {
        "scrap": 59_000,
        "spoiled_pairs": 3,
    }
    assert told.gaps == ()
    reversing.reverse(key=key(), movement=movement, reason="Miscounted.", at=NOON, by=bea)
    assert held(PlaceKind.BOX) == 0


def test_mixed_spoiled_pairs_may_always_be_waste(
    shop: Shop, batch: ProductionBatch, bea: User
) -> None:
    book(shop, batch, bea, ScrapHeap(mass="59 g"), into="waste")
    assert held(PlaceKind.FOREIGN) == 59_000


def test_a_press_hand_books_both_materials_on_the_page(
    client: Client, shop: Shop, made: TwoTone, batch: ProductionBatch, bea: User
) -> None:
    client.force_login(bea)
    facts = {"batch": batch.code, "step": "groove", "cause": "groove-slipped", "pieces": 2}
    weighed = {"scale": shop.box_scale.pk, "mass": "22 g", "goes": "box"}
    address = reverse("stock-action", args=["spoiled"])
    refused = client.post(address, {"key": key(), **facts, **weighed})
    assert "differ in material" in refused.content.decode()
    both = {"colour": made.tideline.code, "other_mass": "16 g", "other_colour": "moss"}
    assert client.post(address, {"key": key(), **facts, **weighed, **both}).status_code == 302
    assert boxes.held_mg(scrap_box(shop, shop.moss)) == 16_000
    scrap = {"batch": batch.pk, "colour": "moss", "scale": shop.box_scale.pk, "mass": "90 g"}
    page = reverse("stock-action", args=["scrap"])
    assert client.post(page, {"key": key(), **scrap}).status_code == 302
    assert boxes.held_mg(scrap_box(shop, shop.moss)) == 106_000
