from __future__ import annotations

import math
from statistics import mean, variance

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import poisson

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.forecast.sums.spares import (
    Demand,
    Holding,
    base_stock,
    cautious_demand,
    monthly_demand,
    propose_order,
    ready_rate,
)

DEMANDS = st.builds(
    lambda mean, dispersion: Demand(mean=mean, dispersion=dispersion),
    st.floats(0.01, 60),
    st.sampled_from([1.0, 1.2, 3.0]),
)


@settings(max_examples=50)
@given(demand=DEMANDS, level=st.floats(0.05, 0.995))
def test_base_stock_is_the_smallest_that_reaches_the_level(demand, level):
    stock = base_stock(demand, level=level)
    assert ready_rate(demand, stock) >= level - 1e-9
    assert ready_rate(demand, stock - 1) < level


def test_shelf_without_stock_meets_nothing():
    assert ready_rate(Demand(mean=2), 0) == 0
    assert ready_rate(Demand(mean=0), 1) == 1


def test_negative_binomial_has_the_mean_and_variance_it_names():
    # Derived: moments summed from the distribution function.
    demand = Demand(mean=4, dispersion=2.5)
    chances = [demand.at_most(k) - demand.at_most(k - 1) for k in range(200)]
    mean = math.fsum(k * p for k, p in enumerate(chances))
    spread = math.fsum((k - mean) ** 2 * p for k, p in enumerate(chances))
    assert (mean, spread) == (pytest.approx(4), pytest.approx(10))


def test_overdispersed_demand_needs_more_stock():
    plain = base_stock(Demand(mean=6), level=0.95)
    assert base_stock(Demand(mean=6, dispersion=3), level=0.95) > plain


def test_even_months_are_taken_as_poisson_and_bursty_ones_are_not():
    assert monthly_demand([4, 5, 3, 4, 6, 4]).dispersion == 1
    # Variance 8 over mean 4: 2 x 5 = 10 is below 11.07, the 5 % point at 5 degrees of freedom.
    assert monthly_demand([0, 2, 4, 4, 6, 8]).dispersion == 1
    bursty = monthly_demand([0, 20, 1, 0, 25, 2])
    assert bursty.mean == 8
    assert bursty.dispersion == pytest.approx(129.2 / 8)


@pytest.mark.parametrize("months", [5, 6, 7])
def test_monthly_demand_needs_six_months(months):
    counts = [3] * months
    if months >= 6:
        assert monthly_demand(counts).mean == 3
        return
    with pytest.raises(NotEnoughEvidence) as caught:
        monthly_demand(counts)
    assert (caught.value.have, caught.value.need) == (5, 6)


def test_months_without_demand_expect_none():
    assert monthly_demand([0] * 6) == Demand(mean=0)


@pytest.mark.parametrize(
    ("on_hand", "reserved", "packs"),
    [(9, 0, 1), (10, 0, 0), (11, 0, 0), (10, 1, 1), (0, 0, 1), (0, 1, 2), (50, 0, 0)],
)
def test_order_lifts_the_position_to_the_target_in_whole_packs(on_hand, reserved, packs):
    holding = Holding(on_hand=on_hand, on_order=0, reserved=reserved, pack_size=10)
    proposal = propose_order(holding, target=10)
    assert (proposal.packs, proposal.pieces) == (packs, 10 * packs)


def test_pieces_on_order_count_and_backlog_may_push_the_position_below_zero():
    holding = Holding(on_hand=2, on_order=3, reserved=9, pack_size=1)
    assert propose_order(holding, target=6).pieces == 10
    assert holding.position == -4


@given(
    on_hand=st.integers(0, 500),
    on_order=st.integers(0, 500),
    reserved=st.integers(0, 500),
    pack=st.integers(1, 200),
    target=st.integers(0, 900),
)
def test_an_order_reaches_the_target_without_a_spare_pack(
    *, on_hand, on_order, reserved, pack, target
):
    holding = Holding(on_hand=on_hand, on_order=on_order, reserved=reserved, pack_size=pack)
    proposal = propose_order(holding, target=target)
    after = holding.position + proposal.pieces
    assert after >= target
    assert proposal.packs == 0 or after - pack < target


@pytest.mark.parametrize(
    "call",
    [
        lambda: Demand(mean=-1),
        lambda: Demand(mean=1, dispersion=0.99),
        lambda: Demand(mean=math.inf),
        lambda: Demand(mean=1).over(0),
        lambda: monthly_demand([1, 2, 3, 4, 5, -1]),
        lambda: base_stock(Demand(mean=1), level=1),
        lambda: base_stock(Demand(mean=1), level=0),
        lambda: base_stock(Demand(mean=1e7), level=0.9),
        lambda: Holding(on_hand=-1, on_order=0, reserved=0),
        lambda: Holding(on_hand=0, on_order=0, reserved=0, pack_size=0),
        lambda: propose_order(Holding(on_hand=0, on_order=0, reserved=0), target=-1),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputRefused):
        call()


def test_spread_that_chance_explains_stays_poisson() -> None:
    """By hand: mean 5, variance 6.4 over 11 months, index 12.8 on 10 degrees; 5 % is at 18.3."""
    counts = (2, 9, 4, 6, 3, 5, 9, 2, 5, 7, 3)
    ratio = variance(counts) / mean(counts)
    assert 1 < ratio < 1.83
    assert monthly_demand(counts) == Demand(mean=5)
    wider = (0, 10, 4, 6, 3, 5, 11, 1, 5, 8, 2)
    assert monthly_demand(wider).dispersion == pytest.approx(variance(wider) / 5)
    assert variance(wider) / 5 > 1.83


def true_rate_met(rng, *, rate, dispersion, months, periods=0.7, level=0.95):
    """Return whether the base stock from some months of use meets the level under the true rate;
    None where no use was seen."""
    if dispersion == 1:
        counts = rng.poisson(rate, months)
    else:
        counts = rng.negative_binomial(rate / (dispersion - 1), 1 / dispersion, months)
    if not counts.sum():
        return None
    stock = base_stock(cautious_demand(counts.tolist()).over(periods), level=level)
    true = Demand(mean=rate, dispersion=float(dispersion)).over(periods)
    return ready_rate(true, stock) >= level - 1e-9


@pytest.mark.parametrize(
    ("rate", "dispersion", "months"), [(0.5, 1, 6), (2, 1, 6), (10, 1, 12), (2, 2, 6), (5, 3, 12)]
)
def test_nine_shops_of_ten_reach_the_level_they_want(rate, dispersion, months):
    """Of 120 simulated shops 108; fewer than 98 come in one of a thousand draws at 90 %."""
    rng = np.random.default_rng(17)
    found = [
        true_rate_met(rng, rate=rate, dispersion=dispersion, months=months) for _shop in range(120)
    ]
    seen = [met for met in found if met is not None]
    assert sum(seen) >= 0.82 * len(seen)


def test_cautious_rate_is_the_exact_limit_of_a_poisson_rate():
    """Derived: with 12 seen in 12 months of even counts, P(count <= 12) at the limit is 0.1."""
    cautious = cautious_demand([1] * 12)
    assert cautious.dispersion == 1
    assert poisson.cdf(12, 12 * cautious.mean) == pytest.approx(0.1, abs=1e-9)
    assert cautious_demand([0] * 12).mean == 0
