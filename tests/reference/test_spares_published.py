"""Spare stock against textbook examples and derived identities."""

from __future__ import annotations

import pytest
from scipy.stats import norm

from returns.figures.forecast.sums.spares import (
    Demand,
    Measure,
    base_stock,
    critical_ratio,
    expected_backorders,
    newsvendor,
    newsvendor_normal,
    newsvendor_of,
    normal_shortfall,
    service,
)


# Stevenson, Operations Management, 14th ed., Table 12.3, a spare part (read).
def test_stevenson_spare_part():
    best, costs = newsvendor_of((0.2, 0.4, 0.3, 0.1), short_cost_minor=4200, excess_cost_minor=800)
    assert best == 2
    assert costs == pytest.approx((5460, 2260, 1060, 1360))
    assert critical_ratio(short_cost_minor=4200, excess_cost_minor=800) == pytest.approx(0.84)


# Cachon and Terwiesch, Q12.1 (read). The printed 235.2 rounds z up to 0.44; exact is 234.458.
def test_cachon_terwiesch_order_quantity():
    ratio = critical_ratio(short_cost_minor=8, excess_cost_minor=4)
    assert ratio == pytest.approx(0.6667, abs=5e-5)
    quantity = newsvendor_normal(mean=200, spread=80, ratio=ratio)
    assert quantity == pytest.approx(235.2, abs=0.8)
    assert quantity == pytest.approx(234.458, abs=5e-4)


# Cachon and Terwiesch, normal loss (read): N(1000, 300) at 1600, printed L(2) = .0085, 2.55.
def test_cachon_terwiesch_normal_loss():
    lost = normal_shortfall(mean=1000, spread=300, quantity=1600)
    assert lost == pytest.approx(2.55, abs=0.005)
    assert lost / 300 == pytest.approx(0.0085, abs=5e-5)


# Cachon and Terwiesch, printed normal probabilities (read) checked against the distribution used.
def test_cachon_terwiesch_normal_probabilities():
    assert float(norm.cdf(2.5)) == pytest.approx(0.9938, abs=5e-5)
    assert float(norm.cdf(-1.25)) == pytest.approx(0.1056, abs=5e-5)


# Derived answers to Cachon and Terwiesch's order-up-to question (only the question was read):
# Poisson 1.5 a day, lead time 3 days, so 4 days of demand with mean 6.
def test_order_up_to_level_for_poisson_demand():
    demand = Demand(mean=1.5).over(4)
    assert 1 - service(demand, 8).in_stock == pytest.approx(0.1528, abs=5e-5)
    assert expected_backorders(demand, 9) == pytest.approx(0.1613, abs=5e-5)
    assert expected_backorders(demand, 10) == pytest.approx(0.0773, abs=5e-5)
    filled = base_stock(demand, level=0.9, measure=Measure.FILL_RATE, period_mean=1.5)
    assert filled.base_stock == 10
    assert newsvendor(demand, short_cost_minor=600, excess_cost_minor=1) == 14
    ratio = critical_ratio(short_cost_minor=600, excess_cost_minor=1)
    assert ratio == pytest.approx(0.99834, abs=5e-6)


# Derived: pipeline mean 1.
@pytest.mark.parametrize(
    ("stock", "backorders", "ready"),
    [
        (0, 1, 0),
        (1, 0.3679, 0.3679),
        (2, 0.1036, 0.7358),
        (3, 0.0233, 0.9197),
        (4, 0.0043, 0.9810),
    ],
)
def test_pipeline_of_mean_one(stock, backorders, ready):
    given = service(Demand(mean=1), stock)
    assert given.backorders == pytest.approx(backorders, abs=5e-5)
    assert given.ready_rate == pytest.approx(ready, abs=5e-5)
