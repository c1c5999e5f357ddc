"""Spare stock against the Poisson distribution, worked from its formula."""

from __future__ import annotations

import pytest

from returns.figures.forecast.sums.spares import Demand, base_stock, ready_rate


# Derived: with mean 1 the chances of 0, 1, 2 and 3 are 1, 1, 1/2 and 1/6 of e^-1.
@pytest.mark.parametrize(
    ("stock", "ready"), [(0, 0), (1, 0.3679), (2, 0.7358), (3, 0.9197), (4, 0.9810)]
)
def test_pipeline_of_mean_one(stock, ready):
    assert ready_rate(Demand(mean=1), stock) == pytest.approx(ready, abs=5e-5)


# Derived answer to an order-up-to question of Cachon and Terwiesch, Matching Supply with Demand
# (only the question was read): Poisson 1.5 a day, 4 days of demand with mean 6.
def test_order_up_to_level_for_poisson_demand():
    demand = Demand(mean=1.5).over(4)
    assert 1 - demand.at_most(8) == pytest.approx(0.1528, abs=5e-5)
    assert base_stock(demand, level=0.9) == 10
