"""The shares that a weighed blend reached, beside those of its recipe."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.material.sums.recipe_shares import reached

RECIPE = {"slate": 700_000, "moss": 300_000}


# By hand, our own case: of 10 000 mg, 2 % of the whole are 200 mg.
@pytest.mark.parametrize(
    ("slate_mg", "is_kept"),
    [(6_799, False), (6_800, True), (7_000, True), (7_200, True), (7_201, False)],
)
def test_a_tolerance_is_kept_at_its_very_limit(slate_mg: int, is_kept: bool) -> None:
    rows = reached({"slate": slate_mg, "moss": 10_000 - slate_mg}, RECIPE, tolerance_ppm=20_000)
    assert [one.is_kept for one in rows] == [is_kept, is_kept]
    assert sum(one.off_ppm for one in rows) == 0


def test_a_colour_that_no_recipe_names_has_missed_its_share_of_nothing() -> None:
    *_named, other = reached({"slate": 7, "moss": 3, "peat": 1}, RECIPE, tolerance_ppm=20_000)
    assert (other.colour, other.wanted_ppm, other.is_kept) == ("peat", 0, False)


def test_nothing_weighed_reaches_nothing() -> None:
    assert {one.reached_ppm for one in reached({}, RECIPE, tolerance_ppm=1)} == {0}


@given(st.lists(st.integers(1, 10**9), min_size=2, max_size=8))
def test_what_is_weighed_by_the_recipe_keeps_any_tolerance(shares: list[int]) -> None:
    whole = sum(shares)
    ppm = [share * 1_000_000 // whole for share in shares]
    ppm[0] += 1_000_000 - sum(ppm)
    recipe = {f"c{at}": one for at, one in enumerate(ppm)}
    rows = reached(recipe, recipe, tolerance_ppm=1)
    assert all(one.is_kept and one.off_ppm == 0 for one in rows)
