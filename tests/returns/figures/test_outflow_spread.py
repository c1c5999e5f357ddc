"""The range of the outflow shares, against formulas that hold in special cases: all derived."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt

import numpy as np
import pytest
from scipy.stats import beta

from inventory.weighing.sums.weighing import Measured
from returns.figures.circularity.sums.indicator_spread import of_interval
from returns.figures.circularity.sums.mass_shares import mass_share
from returns.figures.circularity.sums.outflow_spread import (
    Fate,
    outflow_expanded_mg,
    outflow_limits,
)
from returns.figures.claims.sums.claims import InputRefused

MENDED = Fate(goes="reused", frames=60, reused=Measured(1_500_000, 0.0))
SENT_BACK = Fate(goes="rest", frames=40, rest=Measured(1_000_000, 0.0))


def test_two_fates_of_equal_mass_have_the_interval_of_the_count() -> None:
    """60 of 100 frames, each of 25 g: Jeffreys' interval, the quantiles of Beta(60.5, 40.5)."""
    found = outflow_limits([MENDED, SENT_BACK], None, seed=1, draws=40_000)
    expected = beta.ppf([0.025, 0.975], 60.5, 40.5)
    assert found["reused"] == pytest.approx(tuple(expected), abs=0.003)
    assert found["linear"] == pytest.approx((1 - expected[1], 1 - expected[0]), abs=0.003)
    assert found["recycled"] == (0, 0)


def test_a_fate_that_no_frame_had_may_come_yet() -> None:
    """10 of 10 mended: Beta(10.5, 0.5) from below, not a share of 100 % without a doubt."""
    ten = replace(MENDED, frames=10)
    found = outflow_limits([ten, Fate(goes="rest", frames=0)], None, seed=1, draws=40_000)
    assert found["reused"] == pytest.approx(tuple(beta.ppf([0.025, 0.975], 10.5, 0.5)), abs=0.01)


def test_with_very_many_frames_only_the_weighings_are_left() -> None:
    """Then the law of propagation serves, with its shared part on one scale."""
    part = Measured(30_000, 120.0, (("bench", 90.0),))
    rest = Measured(12_000, 80.0, (("bench", 60.0), ("floor", 50.0)))
    fates = [
        Fate(goes="reused", frames=10**12, reused=part),
        Fate(goes="rest", frames=10**12, rest=rest),
    ]
    low, high = outflow_limits(fates, None, seed=1, draws=40_000)["reused"]
    law = mass_share(part, rest, evidence=2, coverage_factor=1.96)
    assert low == pytest.approx(law.low, abs=(law.high - law.low) / 50)
    assert high == pytest.approx(law.high, abs=(law.high - law.low) / 50)


def test_all_parts_together_agree_with_the_law_of_propagation() -> None:
    """First order, by hand: var r = sum p_k (r_k − r t_k)² / (n t²) for the counts, the weighings
    by their derivatives, and the yield by (B / T)² times the variance of its triangle."""
    mended = Fate(goes="reused", frames=600, reused=Measured(15_000_000, 0.0, (("a", 90_000.0),)))
    apart = Fate(
        goes="boxed",
        frames=300,
        reused=Measured(300_000, 9_000.0),
        boxed=Measured(6_000_000, 20_000.0, (("a", 70_000.0),)),
        rest=Measured(1_200_000, 0.0, (("b", 40_000.0),)),
    )
    other = Fate(goes="rest", frames=100, rest=Measured(2_500_000, 0.0, (("a", 30_000.0),)))
    limits = (0.90, 0.94, 0.97)
    found = outflow_limits([mended, apart, other], limits, seed=3, draws=40_000)
    triangle = of_interval(*limits)
    ends = (triangle.low, triangle.mode, triangle.high)
    mean_yield = sum(ends) / 3
    a, b, c = ends
    yield_variance = (a * a + b * b + c * c - a * b - a * c - b * c) / 18
    whole = 25_000_000
    share = mean_yield * 6_000_000 / whole
    counts = sum(
        (recycled - share * mass) ** 2 / frames
        for frames, mass, recycled in (
            (600, 15_000_000, 0),
            (300, 7_500_000, mean_yield * 6_000_000),
            (100, 2_500_000, 0),
        )
    )
    scale_a = mean_yield * 70_000 - share * (90_000 + 70_000 + 30_000)
    own = (share * 9_000) ** 2 + ((mean_yield - share) * 20_000) ** 2
    weighings = scale_a**2 + (share * 40_000) ** 2 + own
    variance = (counts + weighings) / whole**2 + (6_000_000 / whole) ** 2 * yield_variance
    low, high = found["recycled"]
    assert (high - low) / 2 == pytest.approx(1.96 * sqrt(variance), rel=0.03)
    assert (high + low) / 2 == pytest.approx(share, abs=0.003)


def test_the_same_seed_gives_the_same_range() -> None:
    first = outflow_limits([MENDED, SENT_BACK], None, seed=1)
    assert outflow_limits([MENDED, SENT_BACK], None, seed=1) == first
    assert outflow_limits([MENDED, SENT_BACK], None, seed=2) != first


@pytest.mark.parametrize(
    ("fates", "draws", "coverage"),
    [
        ([], 100, 0.95),
        ([replace(MENDED, frames=0)], 100, 0.95),
        ([Fate(goes="rest", frames=1)], 100, 0.95),
        ([MENDED], 99, 0.95),
        ([MENDED], 100, 1.0),
    ],
)
def test_what_has_no_range_is_refused(fates: list[Fate], draws: int, coverage: float) -> None:
    with pytest.raises(InputRefused):
        outflow_limits(fates, None, seed=1, draws=draws, coverage=coverage)


def test_grams_have_the_uncertainty_of_their_weighings_and_of_the_yield() -> None:
    """A simulation of its own: scales "a" and "b" off together, the yield normal, 0.9 ± 0.04."""
    mended = Fate(goes="reused", frames=9, reused=Measured(225_000, 300.0, (("a", 900.0),)))
    apart = Fate(
        goes="boxed",
        frames=3,
        reused=Measured(3_000, 90.0, (("a", -200.0),)),
        boxed=Measured(60_000, 200.0, (("a", 700.0),)),
        rest=Measured(12_000, 0.0, (("a", 150.0), ("b", 400.0))),
    )
    found = outflow_expanded_mg([mended, apart], (0.86, 0.9, 0.94))
    rng = np.random.default_rng(3)
    a, b, own, other, boxed, y = rng.standard_normal((6, 200_000))
    in_box = 60_000 + 200 * boxed + 700 * a
    recycled = in_box * (0.9 + 0.02 * y)
    drawn = {
        "reused": 300 * own + 90 * other + (900 - 200) * a,
        "recycled": recycled,
        "linear": 150 * a + 400 * b + in_box - recycled,
    }
    assert found == pytest.approx({k: 2 * np.std(v) for k, v in drawn.items()}, rel=0.01)
    # A yield that cannot pass 1 is as unsure as its lower limit says.
    assert outflow_expanded_mg([apart], (0.9, 0.99, 1.0))["recycled"] > 0.09 * 60_000
    assert outflow_expanded_mg([mended], None)["recycled"] == 0
