"""Shares and yields of weighed masses. Vectors are constructed, the law checked by simulation."""

from __future__ import annotations

from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.weighing.sums.weighing import Measured
from returns.figures.circularity.sums.mass_shares import mass_share, recovery_yield
from returns.figures.claims.sums.claims import InputRefused


def test_independent_weighings_by_hand() -> None:
    """s = 3/4; u = sqrt((1/4 · 40)² + (3/4 · 20)²) / 400 = sqrt(325) / 400, k = 2."""
    found = mass_share(Measured(300, 40.0), Measured(100, 20.0), evidence=2)
    assert found.share == 0.75
    assert found.high - found.share == pytest.approx(2 * sqrt(325) / 400)
    assert found.share - found.low == pytest.approx(2 * sqrt(325) / 400)
    assert found.coverage == pytest.approx(0.9545, abs=5e-5)
    assert found.evidence == 2


def test_a_scale_that_reads_everything_high_alike_leaves_the_share_alone() -> None:
    part = Measured(300, 0.0, (("bench", 3.0),))
    rest = Measured(100, 0.0, (("bench", 1.0),))
    found = mass_share(part, rest, evidence=2)
    assert (found.low, found.high) == pytest.approx((0.75, 0.75))


def test_two_scales_do_not_cancel() -> None:
    part = Measured(300, 0.0, (("bench", 3.0),))
    rest = Measured(100, 0.0, (("floor", 1.0),))
    found = mass_share(part, rest, evidence=2)
    assert found.high - found.share == pytest.approx(2 * sqrt(2 * 0.75**2) / 400)


def test_all_of_one_kind_is_the_whole_whatever_the_scale() -> None:
    found = mass_share(Measured(500, 30.0), Measured(0, 0.0), evidence=1)
    assert (found.share, found.low, found.high) == (1.0, 1.0, 1.0)


@pytest.mark.parametrize(("part_mg", "rest_mg"), [(0, 0), (-1, 5), (5, -1)])
def test_masses_that_make_no_share_are_refused(part_mg: int, rest_mg: int) -> None:
    with pytest.raises(InputRefused):
        mass_share(Measured(part_mg, 1.0), Measured(rest_mg, 1.0), evidence=1)


def test_a_yield_carries_both_weighings() -> None:
    """u = hypot(30, 0.9 · 40) / 10 000 = 0.004686, twice that each way."""
    found = recovery_yield(Measured(9_000, 30.0), Measured(10_000, 40.0), evidence=3)
    assert (found.share, found.evidence) == (0.9, 3)
    assert found.high - found.share == pytest.approx(2 * 0.00468615, rel=1e-5)
    assert found.coverage == pytest.approx(0.9545, abs=5e-5)


def test_what_one_scale_does_to_flake_and_box_cancels_in_the_yield() -> None:
    flake = Measured(9_000, 0.0, (("fine", 9.0),))
    found = recovery_yield(flake, Measured(10_000, 0.0, (("fine", 10.0),)), evidence=1)
    assert (found.low, found.high) == pytest.approx((0.9, 0.9))


@pytest.mark.parametrize(("flake_mg", "ground_mg"), [(11, 10), (0, 0), (-1, 10)])
def test_masses_that_make_no_yield_are_refused(flake_mg: int, ground_mg: int) -> None:
    assert recovery_yield(Measured(10, 1.0), Measured(10, 1.0), evidence=1).high == 1
    with pytest.raises(InputRefused):
        recovery_yield(Measured(flake_mg, 1.0), Measured(ground_mg, 1.0), evidence=1)


@given(st.integers(1, 10**6), st.integers(0, 10**6), st.floats(0, 1e4), st.floats(0, 1e4))
def test_the_interval_holds_the_share_and_stays_within_the_whole(
    part_mg: int, rest_mg: int, u_part: float, u_rest: float
) -> None:
    found = mass_share(Measured(part_mg, u_part), Measured(rest_mg, u_rest), evidence=1)
    assert 0 <= found.low <= found.share <= found.high <= 1


def test_the_law_agrees_with_simulated_weighings() -> None:
    """Derived: 200 000 draws with a shared part on one scale, to 2 % of the spread."""
    rng = np.random.default_rng(7)
    shared = rng.normal(size=200_000)
    part = 30_000 + 120 * rng.normal(size=200_000) + 90 * shared
    rest = 12_000 + 80 * rng.normal(size=200_000) + 60 * shared
    found = mass_share(
        Measured(30_000, 120.0, (("bench", 90.0),)),
        Measured(12_000, 80.0, (("bench", 60.0),)),
        evidence=2,
    )
    assert (found.high - found.share) / 2 == pytest.approx((part / (part + rest)).std(), rel=0.02)
