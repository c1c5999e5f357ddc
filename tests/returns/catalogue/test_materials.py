"""What a frame is made of: blends, colourways of several materials, parts that fit only some."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from inventory.errors import BadInput, Conflict
from inventory.masters import rules as masters
from inventory.material.queries import admitted
from inventory.models import Admission, BlendShare, ClassPrice, Colour, Origin, Part
from inventory.templatetags.hingeback import swatch
from returns.catalogue import queries as catalogue
from returns.catalogue.rules import model_setup
from returns.figures.forecast.queries.forecast import _frame_material_mg
from returns.figures.span.queries import Scope
from returns.grading.queries import facts
from returns.grading.queries.facts import Seen
from returns.kits import queries as kit_stock
from returns.models import Colourway, DifferingComponent
from returns.salvage.queries import donors, lacking
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import on_shelf
from tests.returns.material_makers import admit, blend, two_tone
from tests.returns.salvage_makers import giving, needing

pytestmark = pytest.mark.django_db


def test_a_blend_keeps_its_recipe_and_draws_its_veins(shop: Shop, olga: User) -> None:
    tideline = blend(shop, olga)
    assert [(one.of.code, one.share_ppm) for one in tideline.shares.all()] == [
        ("slate", 700_000),
        ("moss", 300_000),
    ]
    assert (tideline.swatch, tideline.veins) == (shop.slate.swatch, shop.moss.swatch)
    drawn = swatch(tideline)
    assert drawn.count('class="vein"') == 4
    assert f'stroke="{shop.moss.swatch}"' in drawn
    even = blend(shop, olga, name="Estuary", is_marbled=False)
    assert even.veins == ""
    assert 'class="vein"' not in swatch(even)
    # By hand: 0x4f is the root of 0.7 * 0x4a ** 2 + 0.3 * 0x5c ** 2, and so on.
    assert even.swatch == "#4f5c56"


SHARES: list[tuple[tuple[int, ...], bool]] = [
    ((999_999,), False),
    ((500_000, 499_999), False),
    ((500_000, 500_000), True),
    ((500_000, 500_001), False),
    ((1, 999_999), True),
    ((0, 1_000_000), False),
]


@pytest.mark.parametrize(("ppm", "is_whole"), SHARES)
def test_the_shares_of_a_recipe_are_the_whole(
    shop: Shop, olga: User, ppm: tuple[int, ...], is_whole: bool
) -> None:
    shares = tuple(zip((shop.slate, shop.moss), ppm, strict=False))
    if is_whole:
        assert blend(shop, olga, shares=shares).is_blend
        return
    with pytest.raises(BadInput) as refused:
        blend(shop, olga, shares=shares)
    assert refused.value.field == "shares"
    assert not BlendShare.objects.exists()


@pytest.mark.parametrize(
    ("ppm", "is_good"), [(0, False), (1, True), (10**6, True), (10**6 + 1, False)]
)
def test_a_tolerance_is_a_share(shop: Shop, olga: User, ppm: int, is_good: bool) -> None:
    if is_good:
        assert blend(shop, olga, tolerance_ppm=ppm).tolerance_ppm == ppm
        return
    with pytest.raises(BadInput) as refused:
        blend(shop, olga, tolerance_ppm=ppm)
    assert refused.value.field == "tolerance"


def test_a_recipe_may_name_another_blends_regrind_but_no_colour_twice(
    shop: Shop, olga: User
) -> None:
    tideline = blend(shop, olga)
    mud = blend(shop, olga, name="Mud", shares=((shop.slate, 800_000), (tideline, 200_000)))
    assert tideline in {one.of for one in mud.shares.all()}
    with pytest.raises(BadInput):
        blend(shop, olga, name="Twice", shares=((shop.slate, 800_000), (shop.slate, 200_000)))


@pytest.mark.parametrize(
    "row",
    [
        lambda _shop, tide: BlendShare(blend=tide, of=tide, share_ppm=1),
        lambda shop, tide: BlendShare(blend=tide, of=shop.slate, share_ppm=1),
        lambda shop, _tide: Admission(into=shop.slate, of=shop.slate),
        lambda _shop, _tide: Colour(code="x", name="X", kind="base", tolerance_ppm=1),
        lambda _shop, _tide: Colour(code="x", name="X", kind="blend"),
        lambda shop, _tide: Part(code="x", name="X", colour=shop.slate),
        lambda shop, _tide: DifferingComponent(colourway=shop.avocet_moss, key="front"),
        lambda shop, _tide: DifferingComponent(
            colourway=shop.avocet_moss, key="front", colour=shop.slate
        ),
        lambda shop, _tide: Colourway(model=shop.avocet, polymer=shop.pp, colour=shop.moss),
    ],
)
def test_the_database_refuses_what_says_nothing_or_says_it_twice(
    shop: Shop, olga: User, row: Any
) -> None:
    made = row(shop, blend(shop, olga))
    with pytest.raises(IntegrityError), transaction.atomic():
        made.save()


def test_boxes_take_what_the_table_names_and_a_blends_box_that_blend_only(
    shop: Shop, olga: User
) -> None:
    made = two_tone(shop, olga)
    both = (made.tideline, shop.moss)
    assert admitted.takes(made.tideline, [made.tideline])
    assert not admitted.takes(made.dark, both)
    admit(made.dark, olga, made.tideline, shop.moss)
    assert admitted.takes(made.dark, both)
    assert admitted.boxes_for(both) == [made.dark]
    assert admitted.boxes_for([shop.moss]) == [shop.moss, made.dark]
    assert not admitted.takes(shop.moss, [made.dark])
    with pytest.raises(BadInput):
        admit(made.tideline, olga, shop.moss)
    # Even a row that came in some other way opens no blend's box.
    Admission.objects.create(into=made.tideline, of=shop.moss)
    assert not admitted.takes(made.tideline, [shop.moss])
    assert made.tideline not in admitted.boxes_for([shop.moss])
    # What is told anew for a box replaces what stood there.
    admit(made.dark, olga, shop.slate)
    assert not admitted.takes(made.dark, both)


def test_a_colourway_says_what_each_component_is_of(shop: Shop, olga: User) -> None:
    made = two_tone(shop, olga)
    bill = catalogue.bill_of(made.way)
    assert {key: one.material.code for key, one in bill.items() if one.material} == {
        "front": "PP/tideline",
        "arm_left": "PP/moss",
        "arm_right": "PP/moss",
    }
    assert bill["arm_left"].piece.part == made.arm_left
    assert bill["arm_right"].piece.part == made.arm_right
    assert bill["lens_left"].piece.part == made.lens
    assert bill["screw_left"].piece.part == shop.screw
    front, arms = catalogue.heaps(made.way, bill)
    assert (front.nominal_mg, front.spread_mg) == (11_200, 120)
    # Two arms of 60 mg spread each: 60 * sqrt(2) = 84.85, rounded down.
    assert (arms.keys, arms.nominal_mg, arms.spread_mg) == (("arm_left", "arm_right"), 8_200, 84)
    assert str(made.way) == "Avocet · Tideline, moss arms"


def test_a_colourway_of_one_material_is_that_throughout(shop: Shop, olga: User) -> None:
    two_tone(shop, olga)
    (heap,) = catalogue.heaps(shop.avocet_slate, catalogue.bill_of(shop.avocet_slate))
    assert (heap.material.colour, heap.nominal_mg) == (shop.slate, 19_400)
    assert {one.piece.part for one in catalogue.bill_of(shop.avocet_slate).values()} == {
        None,
        shop.arm,
        shop.screw,
    }


def test_a_part_of_another_material_side_or_tint_fits_no_component(shop: Shop, olga: User) -> None:
    made = two_tone(shop, olga)
    base = model_setup.NewColourway(
        model=shop.avocet, polymer=shop.pp, colour=shop.slate, name="Other"
    )
    moss = (shop.pp, shop.moss)
    bad = [
        model_setup.Differing("arm_left", *moss, made.arm_right),
        model_setup.Differing("arm_left", shop.pp, shop.slate, made.arm_left),
        model_setup.Differing("lens_left", part=made.lens),
        model_setup.Differing("lens_left", *moss),
        model_setup.Differing("bridge", *moss),
    ]
    for one in bad:
        data = replace(base, differing=(one,))
        with pytest.raises(BadInput) as refused:
            model_setup.add_colourway(key=key(), data=data, at=NOON, by=olga)
        assert refused.value.field == one.key
    # A bill's part that is of one material is no spare part of a colourway in another.
    shop.avocet.components.filter(key="arm_left").update(part=made.arm_left)
    assert catalogue.bill_of(shop.avocet_slate)["arm_left"].piece.part is None
    assert catalogue.bill_of(shop.avocet_moss)["arm_left"].piece.part == made.arm_left


def test_the_same_look_is_not_entered_twice(shop: Shop, olga: User) -> None:
    made = two_tone(shop, olga)
    data = model_setup.NewColourway(
        model=shop.avocet,
        polymer=shop.pp,
        colour=made.tideline,
        name="Tideline, moss arms",
        differing=(model_setup.Differing("arm_left", shop.pp, shop.moss),),
    )
    with pytest.raises(Conflict):
        model_setup.add_colourway(key=key(), data=data, at=NOON, by=olga)
    nothing = replace(data, differing=(), name="Plain")
    with pytest.raises(BadInput):
        model_setup.add_colourway(key=key(), data=nothing, at=NOON, by=olga)


def test_grading_offers_the_arm_of_the_frames_own_side_and_material(
    shop: Shop, olga: User, bea: User
) -> None:
    made = two_tone(shop, olga)
    frame = on_shelf(shop, bea, colourway=made.way)
    offers = facts.offers(frame, [Seen("arm_right", "snapped")], facts.Policy.the())
    assert [dict(one.parts) for one in offers] == [{made.arm_right: 1}]


def test_material_is_worth_the_mean_of_its_materials_by_mass(shop: Shop, olga: User) -> None:
    made = two_tone(shop, olga)
    price = {"polymer": shop.pp, "origin": Origin.RETURN}
    ClassPrice.objects.create(colour=made.tideline, price_minor_per_kg=100, **price)
    ClassPrice.objects.create(colour=shop.moss, price_minor_per_kg=400, **price)
    # (11.2 g at 100 + 8.2 g at 400) over 19.4 g: 226.8, rounded down.
    assert facts.worth_of(made.way) == 226
    assert facts.worth_of(shop.avocet_moss) == 400


def test_salvage_matches_by_the_material_of_the_component(
    shop: Shop, olga: User, bea: User
) -> None:
    made = two_tone(shop, olga)
    Part.objects.filter(pk=made.arm_left.pk).update(reorder_level=0)
    for part in (made.arm_left, shop.arm):
        shop_bin = part.places.get()
        shop_bin.balance.__class__.objects.filter(pk=shop_bin.pk).update(quantity=0)
    frame = needing(shop, bea, colourway=made.way)
    giving(shop, bea)
    giving(shop, bea, colourway=shop.avocet_moss)
    board = donors.board()
    (pair,) = [one for one in board.pairs if one.lack.frame == frame]
    assert pair.gift is not None
    # The moss frame's arm is of the wanted material, though its front is not of the same colour.
    assert pair.gift.donor.colourway == shop.avocet_moss
    lenses = [gift for gift in lacking.gifts() if gift.piece.part == made.lens]
    assert lenses == []


def test_kits_and_forecasts_follow_the_colourway(shop: Shop, olga: User) -> None:
    made = two_tone(shop, olga)
    black = Part.objects.create(code="screw-black", name="Black screw", screw_size="M1.4")
    DifferingComponent.objects.create(colourway=made.way, key="screw_left", part=black)
    assert kit_stock.contents_for(made.way) == {black: 1, shop.screw: 1}
    assert kit_stock.contents_for(shop.avocet_slate) == {shop.screw: 2}
    assert _frame_material_mg(Scope(), ["tideline", "slate"]) == {
        "slate": {"slate": 19_400},
        "tideline": {"tideline": 11_200, "moss": 8_200},
    }


def test_a_look_is_entered_once_under_one_key(shop: Shop, olga: User) -> None:
    data = model_setup.NewColourway(
        model=shop.avocet, polymer=shop.pp, colour=shop.slate, lens_tint="brown", name="Slate brown"
    )
    once = key()
    first = model_setup.add_colourway(key=once, data=data, at=NOON, by=olga)
    assert model_setup.add_colourway(key=once, data=data, at=NOON, by=olga) == first
    assert masters.swatches_mixed([("#000000", 1), ("#ffffff", 1)]) == "#b4b4b4"
