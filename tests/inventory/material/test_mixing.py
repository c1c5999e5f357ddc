"""The mixing core: constructed problems with known corners."""

from __future__ import annotations

import pytest

from inventory.material.sums.mixing import Problem, Row, SolverFailed, cheapest, least_easing

CAP = Row("cap", (1.0, 0.0), high=0.3)
FLOOR = Row("floor", (0.0, 1.0), low=0.6)


def test_cheapest_goes_to_the_corner() -> None:
    assert cheapest(Problem((1.0, 2.0), (None, None), (CAP,))) == pytest.approx((0.3, 0.7))
    assert cheapest(Problem((1.0, 2.0), (0.2, None), (CAP,))) == pytest.approx((0.2, 0.8))
    assert cheapest(Problem((1.0, 2.0), (None, None), ())) == pytest.approx((1.0, 0.0))


def test_no_mixture_is_none() -> None:
    assert cheapest(Problem((1.0, 2.0), (None, 0.6), (CAP,))) is None


def test_problem_without_an_end_is_a_failure() -> None:
    with pytest.raises(SolverFailed):
        cheapest(Problem((-1.0,), (None,), (), total=None))


def test_least_easing_is_the_missing_part() -> None:
    (easing,) = least_easing(Problem((1.0, 2.0), (None, 0.6), (CAP,)), ["cap"]) or ()
    assert (easing.name, easing.upward) == ("cap", True)
    assert easing.by == pytest.approx(0.1)


def test_low_side_gives_way_downward() -> None:
    (easing,) = least_easing(Problem((1.0, 2.0), (None, 0.5), (FLOOR,)), ["floor"]) or ()
    assert (easing.upward, easing.by) == (False, pytest.approx(0.1))


def test_limit_that_is_not_in_the_way_cannot_help() -> None:
    other = Row("other", (1.0, 1.0), high=2.0)
    problem = Problem((1.0, 2.0), (None, 0.6), (CAP, other))
    assert least_easing(problem, ["other"]) is None


def test_possible_problem_needs_no_easing() -> None:
    assert least_easing(Problem((1.0, 2.0), (None, None), (CAP, FLOOR)), ["cap", "floor"]) == ()
