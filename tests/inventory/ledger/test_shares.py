"""Division into whole parts: constructed vectors and identities."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.ledger.sums.shares import apportion


def test_odd_units_go_to_the_largest_remainders() -> None:
    assert apportion(100, [1, 1, 1]) == (34, 33, 33)
    assert apportion(10, [1, 2, 4]) == (1, 3, 6)
    assert apportion(-10, [1, 2, 4]) == (-1, -3, -6)
    assert apportion(5, [0, 1]) == (0, 5)


def test_nothing_divides_into_nothing() -> None:
    assert apportion(0, []) == ()
    assert apportion(0, [0, 0]) == (0, 0)
    assert apportion(0, [3, 4]) == (0, 0)


@pytest.mark.parametrize("weights", [[], [0, 0]])
def test_something_without_weights_is_refused(weights: list[int]) -> None:
    with pytest.raises(ValueError, match="needs a weight"):
        apportion(1, weights)


def test_negative_weight_is_refused() -> None:
    with pytest.raises(ValueError, match="not negative"):
        apportion(1, [2, -1])


@given(
    st.integers(-(10**15), 10**15),
    st.lists(st.integers(0, 10**12), min_size=1).filter(any),
)
def test_parts_sum_exactly_and_stay_within_one_unit(total: int, weights: list[int]) -> None:
    parts = apportion(total, weights)
    assert sum(parts) == total
    for part, weight in zip(parts, weights, strict=True):
        assert abs(part * sum(weights) - total * weight) < sum(weights)
        assert weight or part == 0
