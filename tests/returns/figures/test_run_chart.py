"""The run chart's own rules: when there are limits, and where they are cut."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.figures.circularity.sums.run_chart import VALUES_MIN, run_chart
from returns.figures.claims.sums.claims import NotEnoughEvidence


@pytest.mark.parametrize("count", [0, 1, VALUES_MIN - 1])
def test_too_few_values_give_no_limits(count: int) -> None:
    with pytest.raises(NotEnoughEvidence) as refused:
        run_chart([0.9] * count)
    assert (refused.value.have, refused.value.need) == (count, VALUES_MIN)


@pytest.mark.parametrize("count", [VALUES_MIN, VALUES_MIN + 1])
def test_equal_values_have_limits_of_no_width(count: int) -> None:
    made = run_chart([0.5] * count)
    assert (made.low, made.mean, made.high) == (0.5, 0.5, 0.5)


def test_limits_are_cut_to_what_a_share_can_be() -> None:
    made = run_chart([0.99, 0.90, 0.99, 0.90, 0.99], low_min=0.0, high_max=1.0)
    assert made.high == 1.0
    assert made.low == pytest.approx(0.954 - 3 * 0.09 / 1.128)


def test_only_what_lies_beyond_a_limit_is_outside() -> None:
    made = run_chart([1.0, 2.0, 1.0, 2.0, 1.0])
    assert not made.is_outside(made.high)
    assert made.is_outside(made.high + 1e-9)
    assert made.is_outside(made.low - 1e-9)


@given(st.lists(st.floats(-1e3, 1e3), min_size=VALUES_MIN, max_size=30))
def test_the_mean_lies_within(values: list[float]) -> None:
    made = run_chart(values)
    assert made.low <= made.mean <= made.high
