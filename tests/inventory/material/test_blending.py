"""Recipes: constructed lots; limits tested below, at and above."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inventory.material.sums.blending import (
    BadRecipe,
    ColourShare,
    ImpossibleRecipe,
    LeftOut,
    LimitKind,
    Lot,
    Obstacle,
    Recipe,
    choose,
)
from inventory.material.sums.heat import WHOLE_PPM, HeatSpread, of_passes
from inventory.material.sums.melt_flow import MeltFlow

KG = 1_000_000


def lot(key: str, kg: float, **changes: Any) -> Lot:
    plain: dict[str, Any] = {
        "key": key,
        "available_mg": round(kg * KG),
        "age_days": 10,
        "spread": of_passes(0),
        "regrind_ppm": 0,
        "colour": "reed",
    }
    return Lot(**{**plain, **changes})


def flake(key: str, kg: float, passes: int = 2, **changes: Any) -> Lot:
    return lot(key, kg, **{"spread": of_passes(passes), "regrind_ppm": WHOLE_PPM, **changes})


def obstacles(lots: list[Lot], recipe: Recipe) -> dict[LimitKind, Obstacle]:
    with pytest.raises(ImpossibleRecipe) as refused:
        choose(lots, recipe)
    assert refused.value.code == "impossible_recipe"
    assert not refused.value.together
    return {obstacle.limit: obstacle for obstacle in refused.value.alone}


def test_oldest_material_goes_first() -> None:
    lots = [lot("new", 10, age_days=3), lot("old", 4, age_days=90), lot("mid", 4, age_days=30)]
    assert choose(lots, Recipe(total_mg=6 * KG)).portions == (("mid", 2 * KG), ("old", 4 * KG))


def test_regrind_goes_up_to_its_limit_exactly() -> None:
    lots = [flake("flake", 10, age_days=90), lot("pellets", 10)]
    blend = choose(lots, Recipe(total_mg=10 * KG, regrind_ppm_max=250_000))
    assert blend.portions == (("flake", 2_500_000), ("pellets", 7_500_000))
    assert blend.regrind_ppm == 250_000
    assert blend.spread == HeatSpread(((0, 750_000), (2, 250_000)))
    assert blend.melt_flow is None


def test_masses_sum_exactly_where_shares_do_not_divide() -> None:
    lots = [flake("flake", 10, age_days=90), lot("pellets", 10)]
    blend = choose(lots, Recipe(total_mg=1_000_003, regrind_ppm_max=333_333))
    assert sum(mass for _, mass in blend.portions) == 1_000_003
    assert blend.regrind_ppm <= 333_333


def test_mean_passes_hold() -> None:
    lots = [flake("flake", 10, passes=4, age_days=90), lot("pellets", 10)]
    blend = choose(lots, Recipe(total_mg=10 * KG, mean_passes_max=1.0))
    assert dict(blend.portions)["flake"] == 2_500_000


@pytest.mark.parametrize(("passes_max", "left_out"), [
    (2, (("tired", LeftOut.TOO_MANY_PASSES),)), (3, ()), (4, ()),
])  # fmt: skip
def test_lot_past_the_pass_limit_is_left_out(passes_max: int, left_out: object) -> None:
    lots = [flake("tired", 10, passes=3, age_days=90), lot("pellets", 10)]
    blend = choose(lots, Recipe(total_mg=5 * KG, passes_max=passes_max))
    assert blend.left_out == left_out


def test_melt_flow_window_is_kept_by_the_log_rule() -> None:
    lots = [
        lot("stiff", 10, melt_flow=MeltFlow(6.0)),
        flake("runny", 10, age_days=90, melt_flow=MeltFlow(12.0)),
        lot("unknown", 10, age_days=200),
        lot("empty", 0, age_days=300, melt_flow=MeltFlow(8.0)),
    ]
    blend = choose(lots, Recipe(total_mg=5 * KG, melt_flow_min=7.0, melt_flow_max=9.0))
    assert blend.left_out == (("empty", LeftOut.EMPTY), ("unknown", LeftOut.MELT_FLOW_UNKNOWN))
    assert blend.melt_flow is not None
    assert blend.melt_flow.rate == pytest.approx(9.0, abs=1e-5)
    assert blend.melt_flow.rate <= 9.0


def test_colour_shares_are_kept() -> None:
    lots = [lot("a", 10, age_days=90, colour="heron"), lot("b", 10), lot("c", 10, colour="slate")]
    colours = (ColourShare(colour="heron", ppm_max=600_000), ColourShare(colour="slate", ppm_min=1))
    blend = choose(lots, Recipe(total_mg=KG, colours=colours))
    masses = dict(blend.portions)
    assert masses["a"] == 600_000
    assert masses["c"] >= 1


def test_too_little_fresh_material_names_each_way_out() -> None:
    lots = [flake("flake", 10), lot("pellets", 6)]
    recipe = Recipe(total_mg=10 * KG, regrind_ppm_max=250_000)
    found = obstacles(lots, recipe)
    assert set(found) == {LimitKind.REGRIND_SHARE, LimitKind.MATERIAL_ON_HAND}
    assert found[LimitKind.REGRIND_SHARE].bound == 250_000
    assert found[LimitKind.REGRIND_SHARE].eased_to == 400_000
    assert found[LimitKind.REGRIND_SHARE].by == 150_000
    assert found[LimitKind.MATERIAL_ON_HAND].eased_to == 8 * KG
    assert choose(lots, replace(recipe, regrind_ppm_max=400_000))
    with pytest.raises(ImpossibleRecipe):
        choose(lots, replace(recipe, regrind_ppm_max=399_999))
    assert choose(lots, replace(recipe, total_mg=8 * KG))
    with pytest.raises(ImpossibleRecipe):
        choose(lots, replace(recipe, total_mg=8 * KG + 1))


def test_largest_mass_is_not_rounded_up_to_one_that_fails() -> None:
    # 110 726 mg of pellets at 4728 ppm regrind reach to 111 251.9995 mg: 252 would not do.
    lots = [flake("flake", 1), replace(lot("pellets", 1), available_mg=110_726)]
    recipe = Recipe(total_mg=200_000, regrind_ppm_max=4_728)
    found = obstacles(lots, recipe)
    assert found[LimitKind.MATERIAL_ON_HAND].eased_to == 111_251
    assert choose(lots, replace(recipe, total_mg=111_251))


def test_pass_limit_in_the_way_names_the_next_that_works() -> None:
    lots = [flake("a", 2, passes=3), flake("b", 3, passes=5), flake("c", 3, passes=7)]
    found = obstacles(lots, Recipe(total_mg=4 * KG, passes_max=3))
    assert found[LimitKind.MAX_PASSES].eased_to == 5
    assert found[LimitKind.MATERIAL_ON_HAND].eased_to == 2 * KG


def test_no_usable_lot_leaves_only_the_pass_limit() -> None:
    found = obstacles([flake("a", 2, passes=3)], Recipe(total_mg=KG, passes_max=2))
    assert {kind: o.eased_to for kind, o in found.items()} == {LimitKind.MAX_PASSES: 3}
    assert obstacles([], Recipe(total_mg=KG, regrind_ppm_max=0)) == {}


def test_flow_below_the_window_names_the_reachable_rate() -> None:
    lots = [lot("a", 5, melt_flow=MeltFlow(6.0)), lot("b", 5, melt_flow=MeltFlow(5.0))]
    found = obstacles(lots, Recipe(total_mg=KG, melt_flow_min=8.0, melt_flow_max=9.0))
    assert set(found) == {LimitKind.MELT_FLOW}
    assert found[LimitKind.MELT_FLOW].bound == pytest.approx(8.0)
    assert found[LimitKind.MELT_FLOW].eased_to == pytest.approx(6.0)


def test_two_limits_in_the_way_are_eased_together() -> None:
    lots = [lot("a", 5, melt_flow=MeltFlow(6.0), colour="reed")]
    recipe = Recipe(
        total_mg=KG, melt_flow_min=8.0, colours=(ColourShare(colour="slate", ppm_min=100_000),)
    )
    with pytest.raises(ImpossibleRecipe) as refused:
        choose(lots, recipe)
    assert refused.value.alone == ()
    eased = {o.limit: (o.subject, round(o.eased_to, 6)) for o in refused.value.together}
    assert eased == {LimitKind.MELT_FLOW: ("", 6.0), LimitKind.COLOUR_SHARE: ("slate", 0.0)}


@pytest.mark.parametrize(
    "changes",
    [
        {"total_mg": 0},
        {"regrind_ppm_max": -1},
        {"regrind_ppm_max": WHOLE_PPM + 1},
        {"mean_passes_max": -0.1},
        {"passes_max": -1},
        {"melt_flow_min": 0.0},
        {"melt_flow_max": -1.0},
        {"melt_flow_min": 9.1, "melt_flow_max": 9.0},
        {"colours": (ColourShare(colour="a"), ColourShare(colour="a"))},
    ],
)
def test_recipe_that_contradicts_itself_is_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(BadRecipe) as refused:
        Recipe(**{"total_mg": KG, **changes})
    assert refused.value.code == "bad_recipe"


@pytest.mark.parametrize(("low", "high"), [(-1, 5), (5, 4), (0, WHOLE_PPM + 1)])
def test_colour_share_outside_the_whole_is_refused(low: int, high: int) -> None:
    with pytest.raises(BadRecipe):
        ColourShare(colour="reed", ppm_min=low, ppm_max=high)


def test_lots_need_keys_of_their_own() -> None:
    with pytest.raises(ValueError, match="own key"):
        choose([lot("a", 1), lot("a", 2)], Recipe(total_mg=KG))


@pytest.mark.parametrize("changes", [{"available_mg": -1}, {"regrind_ppm": WHOLE_PPM + 1}])
def test_impossible_lot_is_refused(changes: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="not negative"):
        lot("a", 1, **changes)


lots_drawn = st.lists(
    st.builds(
        Lot,
        key=st.uuids().map(str),
        available_mg=st.integers(0, 10 * KG),
        age_days=st.integers(0, 400),
        spread=st.integers(0, 6).map(of_passes),
        regrind_ppm=st.sampled_from([0, 500_000, WHOLE_PPM]),
        colour=st.sampled_from(["reed", "heron"]),
        melt_flow=st.floats(4, 30).map(MeltFlow),
    ),
    min_size=1,
    max_size=6,
    unique_by=lambda drawn: drawn.key,
)
recipes_drawn = st.builds(
    Recipe,
    total_mg=st.integers(1, 12 * KG),
    regrind_ppm_max=st.none() | st.integers(0, WHOLE_PPM),
    mean_passes_max=st.none() | st.floats(0, 6),
    passes_max=st.none() | st.integers(0, 6),
    melt_flow_min=st.none() | st.floats(3, 10),
    melt_flow_max=st.none() | st.floats(11, 40),
    colours=st.just(()) | st.just((ColourShare(colour="reed", ppm_min=200_000, ppm_max=700_000),)),
)


def eased(recipe: Recipe, obstacle: Obstacle) -> Recipe:
    if obstacle.limit is LimitKind.COLOUR_SHARE:
        (share,) = recipe.colours
        side = "ppm_max" if obstacle.eased_to > obstacle.bound else "ppm_min"
        return replace(recipe, colours=(replace(share, **{side: int(obstacle.eased_to)}),))
    if obstacle.limit is LimitKind.MELT_FLOW:
        side = "melt_flow_max" if obstacle.eased_to > obstacle.bound else "melt_flow_min"
        return replace(recipe, **{side: obstacle.eased_to})
    field = {
        LimitKind.MATERIAL_ON_HAND: "total_mg",
        LimitKind.REGRIND_SHARE: "regrind_ppm_max",
        LimitKind.MEAN_PASSES: "mean_passes_max",
        LimitKind.MAX_PASSES: "passes_max",
    }[obstacle.limit]
    whole = obstacle.limit is not LimitKind.MEAN_PASSES
    return replace(recipe, **{field: int(obstacle.eased_to) if whole else obstacle.eased_to})


@pytest.mark.slow
@settings(max_examples=150)
@given(lots_drawn, recipes_drawn)
def test_blend_keeps_its_limits_or_says_what_would_make_it_possible(
    lots: list[Lot], recipe: Recipe
) -> None:
    try:
        blend = choose(lots, recipe)
    except ImpossibleRecipe as refused:
        for obstacle in refused.alone:
            assert choose(lots, eased(recipe, obstacle))
        return
    by_key = {drawn.key: drawn for drawn in lots}
    assert sum(mass for _, mass in blend.portions) == recipe.total_mg
    assert all(0 < mass <= by_key[key].available_mg for key, mass in blend.portions)
    # One milligram per lot is what rounding may cost.
    room = len(lots) / recipe.total_mg + 1e-9
    if recipe.regrind_ppm_max is not None:
        assert blend.regrind_ppm <= recipe.regrind_ppm_max + room * WHOLE_PPM
    if recipe.mean_passes_max is not None:
        mean = sum(by_key[k].spread.mean_passes * m for k, m in blend.portions) / recipe.total_mg
        assert mean <= recipe.mean_passes_max + 6 * room
    if recipe.passes_max is not None:
        assert blend.spread.max_passes <= recipe.passes_max
    for share in recipe.colours:
        ppm = sum(m for k, m in blend.portions if by_key[k].colour == share.colour)
        assert share.ppm_min - room * WHOLE_PPM <= ppm / recipe.total_mg * WHOLE_PPM
        assert ppm / recipe.total_mg * WHOLE_PPM <= share.ppm_max + room * WHOLE_PPM
