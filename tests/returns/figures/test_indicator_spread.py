"""The indicator's interval: triangles that fit their limits, a simulation that can be redone."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from returns.figures.circularity.sums import indicator_spread as spread
from returns.figures.circularity.sums.circularity import Component, material_circularity
from returns.figures.circularity.sums.indicator_spread import Inputs
from returns.figures.lifetimes.sums.lifetimes import Exposure
from returns.figures.lifetimes.sums.weibull import weibull_fit

GIVEN = Inputs(
    frame_mg=19_000,
    rest_mg=6_000,
    recycled_in=0.9,
    collected=(0.05, 0.07, 0.10),
    reused=0.01,
    recovered=(0.95, 0.96, 0.97),
    use_factor=1.2,
)


def share_below(low: float, mode: float, high: float, at: float) -> float:
    """Distribution function of a triangle left of its mode, by its textbook formula."""
    return (at - low) ** 2 / ((high - low) * (mode - low))


def test_a_triangle_has_five_per_cent_beyond_its_limits() -> None:
    made = spread.of_interval(0.40, 0.50, 0.60)
    below = share_below(made.low, made.mode, made.high, 0.40)
    above = share_below(-made.high, -made.mode, -made.low, -0.60)
    assert below + above == pytest.approx(0.05)


def test_a_triangle_is_cut_to_what_a_share_can_be() -> None:
    made = spread.of_interval(0.001, 0.01, 0.999)
    assert made.low == 0.0
    assert made.high == 1.0


def test_the_same_seed_gives_the_same_interval_and_another_seed_another() -> None:
    first = spread.simulated(GIVEN, seed=1, draws=200)
    assert spread.simulated(GIVEN, seed=1, draws=200) == first
    assert spread.simulated(GIVEN, seed=2, draws=200) != first


def test_the_point_lies_inside_and_wider_inputs_make_a_wider_interval() -> None:
    point = spread.indicator(GIVEN, collected=0.07, recovered=0.96)
    narrow = spread.simulated(replace(GIVEN, use_factor=1.0), seed=1)
    wide = spread.simulated(GIVEN, seed=1)
    assert narrow.low < point < narrow.high
    assert wide.low < narrow.low < narrow.high < wide.high


def test_inputs_without_spread_have_an_interval_of_no_width() -> None:
    exact = replace(
        GIVEN, collected=(0.07, 0.07, 0.07), recovered=(0.96, 0.96, 0.96), use_factor=1.0
    )
    made = spread.simulated(exact, seed=1, draws=100)
    assert made.low == pytest.approx(made.high)
    assert made.low == pytest.approx(spread.indicator(exact, collected=0.07, recovered=0.96))


def test_the_figure_is_the_published_indicator_of_the_same_bill() -> None:
    frame = Component(
        mass_mg=19_000,
        recycled_in=0.9,
        recycled_out=0.07,
        reused_out=0.01,
        recycling_yield=0.96,
        feedstock_yield=0.96,
    )
    bill = material_circularity([frame, Component(mass_mg=6_000)])
    assert spread.indicator(GIVEN, collected=0.07, recovered=0.96) == bill.indicator


def test_the_mean_lifes_limits_agree_with_a_redrawn_fit() -> None:
    """The factor against draws from the fit's own covariance: derived, nothing published."""
    import numpy as np

    fit = weibull_fit([Exposure(s, "return", 20) for s in (3, 5, 8, 13)] + [Exposure(15, "", 60)])
    cov = [[fit.covariance[0], fit.covariance[1]], [fit.covariance[1], fit.covariance[2]]]
    drawn = np.random.default_rng(3).multivariate_normal([fit.mu, fit.sigma], cov, 40_000)
    logs = [mu + math.lgamma(1 + sigma) for mu, sigma in drawn]
    assert math.log(spread.mean_life_factor(fit)) == pytest.approx(1.96 * np.std(logs), rel=0.03)


@pytest.mark.parametrize(("still_out", "use"), [(0.499, 1.5), (0.5, 1.5), (0.501, None)])
def test_a_life_counts_as_measured_once_half_came_back(still_out: float, use: float | None) -> None:
    assert spread.measured_use(36, still_out=still_out, expected_months=24) == use


def test_a_life_without_an_expectation_is_not_measured() -> None:
    assert spread.measured_use(36, still_out=0.1, expected_months=0) is None


def test_a_longer_life_lifts_the_indicator_and_its_whole_range() -> None:
    """By hand: the indicator is 1 - 0.9 LFI / X, so twice the life halves what misses to 1."""
    plain = spread.indicator(GIVEN, collected=0.07, recovered=0.96)
    longer = spread.indicator(GIVEN, collected=0.07, recovered=0.96, use=2.0)
    assert 1 - longer == pytest.approx((1 - plain) / 2)
    before = spread.simulated(GIVEN, seed=1)
    after = spread.simulated(replace(GIVEN, use=2.0), seed=1)
    assert 1 - after.low == pytest.approx((1 - before.low) / 2, rel=1e-6)
    assert 1 - after.high == pytest.approx((1 - before.high) / 2, rel=1e-6)
