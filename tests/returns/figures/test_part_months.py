"""Pieces of a part by month. Constructed; the law is checked against simulation."""

from __future__ import annotations

import numpy as np
import pytest

from returns.figures.claims.sums.claims import InputRefused
from returns.figures.forecast.sums.forecasts import MonthForecast
from returns.figures.forecast.sums.part_months import part_month


def kits(expected: float, variance: float, month: int = 24_000) -> MonthForecast:
    return MonthForecast(
        month=month, expected=expected, from_sold=expected, variance=variance, low=0, high=99
    )


def test_pieces_and_spread_of_one_model_by_hand() -> None:
    """4 kits of 2 screws: 8 pieces; spread 2 · √4 = 4, so ± 1.645 · 4 = 6.6."""
    found = part_month([(2, kits(4, 4))], coverage=0.9)
    assert (found.expected, found.low, found.high) == (8, 1, 15)


def test_variances_of_two_models_add() -> None:
    """3 · 10 + 1 · 5 = 35; √(9 · 4 + 1 · 13) = 7; 35 ± 11.5."""
    found = part_month([(3, kits(10, 4)), (1, kits(5, 13))], coverage=0.9)
    assert (found.expected, found.low, found.high) == (35, 23, 47)


def test_no_fewer_than_none() -> None:
    assert part_month([(1, kits(0.2, 0.2))]).low == 0


def test_months_that_differ_and_empty_kits_are_refused() -> None:
    for wrong in ([], [(0, kits(1, 1))], [(1, kits(1, 1)), (1, kits(1, 1, 24_001))]):
        with pytest.raises(InputRefused):
            part_month(wrong)


def test_limits_hold_what_they_say_in_simulation() -> None:
    """Derived: Poisson kits of two models; at least 90 % of draws lie within the limits."""
    rng = np.random.default_rng(11)
    drawn = 2 * rng.poisson(9, 50_000) + 3 * rng.poisson(4, 50_000)
    found = part_month([(2, kits(9, 9)), (3, kits(4, 4))], coverage=0.9)
    inside = ((drawn >= found.low) & (drawn <= found.high)).mean()
    assert 0.9 <= inside < 0.95
