"""The log rule of melt flow: derived values and constructed limits."""

from __future__ import annotations

from math import exp, inf, log, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.material.sums.melt_flow import MeltFlow, blend_melt_flow

rates = st.floats(0.1, 100)
masses = st.integers(1, 10**9)


def test_derived_blends() -> None:
    """Derived from the rule; not printed anywhere."""
    two = [(MeltFlow(12), 70_000), (MeltFlow(25), 30_000)]
    assert blend_melt_flow(two).rate == pytest.approx(14.956, abs=5e-4)
    three = [(MeltFlow(10), 50), (MeltFlow(20), 30), (MeltFlow(40), 20)]
    assert blend_melt_flow(three).rate == pytest.approx(16.245, abs=5e-4)


def test_tolerance_of_the_parts_widens_the_estimate() -> None:
    parts = [(MeltFlow(10, 1.0), 50), (MeltFlow(20, 1.0), 50)]
    estimate = blend_melt_flow(parts)
    u_log = sqrt((0.5 * 0.1) ** 2 + (0.5 * 0.05) ** 2)
    assert log(estimate.high / estimate.rate) == pytest.approx(2 * u_log)
    assert log(estimate.rate / estimate.low) == pytest.approx(2 * u_log)
    exact = blend_melt_flow([(MeltFlow(10), 1)])
    assert (exact.low, exact.high) == (exact.rate, exact.rate)


@pytest.mark.parametrize(("rate", "beyond"), [(3.27, False), (3.28, False), (3.29, True)])
def test_parts_too_far_apart_are_flagged(rate: float, beyond: bool) -> None:
    estimate = blend_melt_flow([(MeltFlow(1.0), 1), (MeltFlow(rate), 1)])
    assert estimate.beyond_rule is beyond
    assert estimate.ratio == rate


def test_part_without_mass_does_not_count() -> None:
    estimate = blend_melt_flow([(MeltFlow(1.0), 1), (MeltFlow(50.0), 0)])
    assert estimate.ratio == 1.0
    assert not estimate.beyond_rule


@pytest.mark.parametrize(("rate", "u"), [(0, 0), (-1, 0), (inf, 0), (1, -0.1), (1, inf)])
def test_rate_that_is_none_is_refused(rate: float, u: float) -> None:
    with pytest.raises(ValueError, match="above zero"):
        MeltFlow(rate, u)


@pytest.mark.parametrize("masses_mg", [[], [0], [5, -1]])
def test_blend_without_mass_is_refused(masses_mg: list[int]) -> None:
    with pytest.raises(ValueError, match="not negative"):
        blend_melt_flow([(MeltFlow(1.0), mass_mg) for mass_mg in masses_mg])


@given(st.lists(st.tuples(rates, masses), min_size=1, max_size=6))
def test_estimate_lies_between_the_parts(parts: list[tuple[float, int]]) -> None:
    estimate = blend_melt_flow([(MeltFlow(rate), mass_mg) for rate, mass_mg in parts])
    lowest, highest = min(r for r, _ in parts), max(r for r, _ in parts)
    assert lowest * (1 - 1e-9) <= estimate.rate <= highest * (1 + 1e-9)


def test_even_blend_is_the_geometric_mean() -> None:
    estimate = blend_melt_flow([(MeltFlow(3.0), 5), (MeltFlow(7.0), 5)])
    assert estimate.rate == pytest.approx(exp((log(3) + log(7)) / 2))
