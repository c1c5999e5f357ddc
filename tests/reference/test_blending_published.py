"""Blending held against printed mixtures; each check names its source and tag."""

from __future__ import annotations

import pytest

from inventory.material.sums.melt_flow import MeltFlow, blend_melt_flow
from inventory.material.sums.mixing import Problem, Row, cheapest


def _cost(problem: Problem, amounts: tuple[float, ...]) -> float:
    return sum(c * a for c, a in zip(problem.costs, amounts, strict=True))


def test_even_blend_of_melt_index_one_and_two() -> None:
    """Read: pointsales.ca, technical talk, crediting Nielsen, Polymer Rheology (1977): 1.4145.

    The source took its answer from four-figure logarithms (0.1505), hence the tolerance 0.0005.
    """
    estimate = blend_melt_flow([(MeltFlow(1.0), 50), (MeltFlow(2.0), 50)])
    assert estimate.rate == pytest.approx(1.4145, abs=5e-4)
    assert not estimate.beyond_rule


def test_pair_that_the_log_rule_does_not_fit_is_flagged() -> None:
    """Read: rotoun.com on blends: the log rule holds to a ratio of 3.28; 35 with 2 lies beyond."""
    estimate = blend_melt_flow([(MeltFlow(35.0), 50), (MeltFlow(2.0), 50)])
    assert estimate.ratio == pytest.approx(17.5)
    assert estimate.beyond_rule


def test_animal_feed() -> None:
    """Read: Optimization Algorithms (Manning), section 2.1.4: corn 65 %, limestone 3 %, soybean
    32 %, 0.4916 $/kg. Order here: limestone, corn, soybean; costs in cents."""
    problem = Problem(
        costs=(10.0, 30.5, 90.0),
        ceilings=(None, None, None),
        rows=(
            Row("calcium", (0.38, 0.001, 0.002), 0.008, 0.012),
            Row("protein", (0.0, 0.09, 0.50), low=0.22),
            Row("fibre", (0.0, 0.02, 0.08), high=0.05),
        ),
    )
    amounts = cheapest(problem)
    assert amounts is not None
    assert amounts == pytest.approx((0.03, 0.65, 0.32), abs=0.005)
    assert _cost(problem, amounts) == pytest.approx(49.16, abs=0.005)
    assert amounts == pytest.approx((0.02817, 0.64857, 0.32326), abs=5e-6)


# From memory: data and results of the cat food example in the PuLP documentation; per gram, in the
# order chicken, beef, mutton, rice, wheat, gel. The result is reproduced below.
_PRICES = (0.013, 0.008, 0.010, 0.002, 0.005, 0.001)
_CONTENT = {
    "protein": (0.100, 0.200, 0.150, 0.000, 0.040, 0.000),
    "fat": (0.080, 0.100, 0.110, 0.010, 0.010, 0.000),
    "fibre": (0.001, 0.005, 0.003, 0.100, 0.150, 0.000),
    "salt": (0.002, 0.005, 0.007, 0.002, 0.008, 0.000),
}


def _cat_food(ingredients: int) -> Problem:
    limits = {"protein": (8.0, None), "fat": (6.0, None), "fibre": (None, 2.0), "salt": (None, 0.4)}
    return Problem(
        costs=_PRICES[:ingredients],
        ceilings=(None,) * ingredients,
        rows=tuple(
            Row(name, _CONTENT[name][:ingredients], low, high)
            for name, (low, high) in limits.items()
        ),
        total=100.0,
    )


def test_cat_food_of_six_ingredients() -> None:
    """From memory: beef 60 g, gel 40 g, 0.52 $ a can."""
    problem = _cat_food(6)
    amounts = cheapest(problem)
    assert amounts == pytest.approx((0, 60, 0, 0, 0, 40), abs=5e-3)
    assert _cost(problem, amounts or ()) == pytest.approx(0.52, abs=5e-3)


def test_cat_food_of_two_ingredients() -> None:
    """From memory: chicken 33.33 g, beef 66.67 g, 0.9667 (rounded to 0.97) $ a can."""
    problem = _cat_food(2)
    amounts = cheapest(problem)
    assert amounts == pytest.approx((33.33, 66.67), abs=5e-3)
    assert _cost(problem, amounts or ()) == pytest.approx(0.9667, abs=5e-5)


def test_feed_of_two_mixes() -> None:
    """Derived from read data (no printed result): needs A 90, B 50, C 20, D 2 of two mixes."""
    needs, mixes = (90.0, 50.0, 20.0, 2.0), ((100, 80, 40, 10), (200, 150, 20, 0))
    rows = tuple(
        Row(str(i), (float(mixes[0][i]), float(mixes[1][i])), low=need)
        for i, need in enumerate(needs)
    )
    problem = Problem((40.0, 60.0), (None, None), rows, total=None)
    amounts = cheapest(problem)
    assert amounts == pytest.approx((0.36667, 0.26667), abs=5e-6)
    assert _cost(problem, amounts or ()) == pytest.approx(30.667, abs=5e-4)
