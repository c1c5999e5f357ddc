"""Heat passes: derived identities of the closed loop and constructed vectors."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.material.sums.heat import (
    PASSES_MAX,
    WHOLE_PPM,
    BadHeatSpread,
    HeatSpread,
    after_melt,
    blend,
    of_passes,
)


@st.composite
def spreads(draw: st.DrawFn) -> HeatSpread:
    parts = st.tuples(st.integers(0, PASSES_MAX).map(of_passes), st.integers(1, 10**9))
    return blend(draw(st.lists(parts, min_size=1, max_size=8)))


def shot(previous: HeatSpread, regrind_percent: int) -> HeatSpread:
    return after_melt(blend([(of_passes(0), 100 - regrind_percent), (previous, regrind_percent)]))


def test_fresh_material_has_no_pass_and_a_melt_adds_one() -> None:
    assert of_passes(0).shares == ((0, WHOLE_PPM),)
    assert after_melt(of_passes(0)) == of_passes(1)
    assert after_melt(HeatSpread(((0, 250_000), (3, 750_000)))).shares == (
        (1, 250_000),
        (4, 750_000),
    )


def test_blend_weighs_by_mass() -> None:
    mixed = blend([(of_passes(0), 30_000), (of_passes(2), 10_000)])
    assert mixed.shares == ((0, 750_000), (2, 250_000))
    assert mixed.mean_passes == 0.5
    assert mixed.max_passes == 2


def test_odd_millionth_goes_to_the_larger_remainder_then_to_more_passes() -> None:
    thirds = blend([(of_passes(n), 1) for n in (0, 1, 2)])
    assert thirds.shares == ((0, 333_333), (1, 333_333), (2, 333_334))


def test_share_at_least_counts_from_the_limit_on() -> None:
    spread = HeatSpread(((1, 600_000), (2, 300_000), (4, 100_000)))
    assert [spread.share_at_least(n) for n in (1, 2, 3, 4, 5)] == [
        1_000_000, 400_000, 100_000, 100_000, 0,
    ]  # fmt: skip


def test_tail_is_gathered_at_the_cap() -> None:
    assert after_melt(of_passes(PASSES_MAX - 1)) == of_passes(PASSES_MAX)
    near_cap = HeatSpread(((PASSES_MAX - 1, 400_000), (PASSES_MAX, 600_000)))
    assert after_melt(near_cap) == of_passes(PASSES_MAX)


@pytest.mark.parametrize(
    "shares",
    [
        (),
        ((0, 999_999),),
        ((0, 1_000_001),),
        ((-1, WHOLE_PPM),),
        ((PASSES_MAX + 1, WHOLE_PPM),),
        ((1, 500_000), (0, 500_000)),
        ((1, 500_000), (1, 500_000)),
        ((0, 0), (1, WHOLE_PPM)),
        ((0, -1), (1, WHOLE_PPM + 1)),
    ],
)
def test_shares_that_are_no_spread_are_refused(shares: tuple[tuple[int, int], ...]) -> None:
    with pytest.raises(BadHeatSpread) as refused:
        HeatSpread(shares)
    assert refused.value.code == "bad_heat_spread"


@pytest.mark.parametrize(
    "stored",
    [None, {}, "[[0, 1000000]]", [0], [[0]], [[0, 1000000.0]], [[False, 1000000]],
     [["0", 1000000]], [[0, 1000000, 1]], [(0, 1000000)]],
)  # fmt: skip
def test_stored_list_of_another_shape_is_refused(stored: object) -> None:
    with pytest.raises(BadHeatSpread):
        HeatSpread.from_list(stored)


@pytest.mark.parametrize("parts", [[], [(of_passes(0), 0)]])
def test_blend_of_nothing_is_refused(parts: list[tuple[HeatSpread, int]]) -> None:
    with pytest.raises(ValueError, match="weight above zero"):
        blend(parts)


def test_blend_with_a_negative_mass_is_refused() -> None:
    with pytest.raises(ValueError, match="not negative"):
        blend([(of_passes(0), 2), (of_passes(1), -1)])


@pytest.mark.parametrize("regrind_percent", [10, 20, 25, 30, 40, 50, 70])
def test_repeated_blending_settles_on_the_geometric_law(regrind_percent: int) -> None:
    """Derived: exactly n passes has the share (1−r) r^(n−1)."""
    regrind = regrind_percent / 100
    spread = of_passes(1)
    for _ in range(60):
        spread = shot(spread, regrind_percent)
    settled = dict(spread.shares)
    # Each melt rounds by under one part per million, and what is rounded is fed back with
    # fraction r: the drift stays under 1/(1−r), here at most 3.3 parts per million.
    for passes in range(1, PASSES_MAX):
        expected_ppm = (1 - regrind) * regrind ** (passes - 1) * WHOLE_PPM
        assert settled.get(passes, 0) == pytest.approx(expected_ppm, abs=4)
    assert spread.mean_passes == pytest.approx(1 / (1 - regrind), abs=2e-4)


def test_start_up_keeps_the_tail_in_its_last_pass() -> None:
    """Derived: after k shots, r^k sits at k+1 passes and the rest follows the law."""
    spread = of_passes(1)
    for _ in range(3):
        spread = shot(spread, 50)
    assert spread.shares == ((1, 500_000), (2, 250_000), (3, 125_000), (4, 125_000))


@given(st.lists(st.tuples(spreads(), st.integers(1, 10**12)), min_size=1, max_size=6))
def test_blend_keeps_the_whole_and_nearly_the_mean(parts: list[tuple[HeatSpread, int]]) -> None:
    mixed = blend(parts)
    mass_mg = sum(mass for _, mass in parts)
    mean = sum(spread.mean_passes * mass for spread, mass in parts) / mass_mg
    assert sum(ppm for _, ppm in mixed.shares) == WHOLE_PPM
    assert mixed.mean_passes == pytest.approx(mean, abs=PASSES_MAX**2 / WHOLE_PPM)
    assert mixed.max_passes <= max(spread.max_passes for spread, _ in parts)


@given(spreads())
def test_spread_survives_storage(spread: HeatSpread) -> None:
    assert HeatSpread.from_list(json.loads(json.dumps(spread.to_list()))) == spread
    assert sum(ppm for _, ppm in after_melt(spread).shares) == WHOLE_PPM
