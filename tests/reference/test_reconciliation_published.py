"""Data reconciliation held against printed results; each check names its source and tag."""

from __future__ import annotations

from math import hypot

import numpy as np
import pytest
from scipy.linalg import null_space

from inventory.weighing.sums.reconciliation import (
    Reconciliation,
    Stream,
    Verdict,
    reconcile,
    sidak_critical,
)

# Read: benchmark set EDSONCV/dr-ged-benchmarks, commit 98b250db, data_reconciliation/linear, after
# Narasimhan & Jordache, Data Reconciliation and Gross Error Detection (2000): a heat exchanger
# with a bypass, six flows, four nodes, variance 1 each.
EXCHANGER = [
    Stream("1", "feed", "split", 101.91, 1.0),
    Stream("2", "split", "exchanger", 64.45, 1.0),
    Stream("3", "split", "bypass", 34.65, 1.0),
    Stream("4", "exchanger", "mix", 64.20, 1.0),
    Stream("5", "bypass", "mix", 36.44, 1.0),
    Stream("6", "mix", "product", 98.88, 1.0),
]
NODES = ["split", "exchanger", "bypass", "mix"]


@pytest.fixture(name="exchanger")
def _exchanger() -> Reconciliation:
    return reconcile(EXCHANGER, NODES)


def test_exchanger_flows_adjust_to_the_printed_ones(exchanger: Reconciliation) -> None:
    """Read: printed 100.22, 64.50, 35.72, 64.50, 35.72, 100.22."""
    adjusted = [result.adjusted for result in exchanger.streams]
    assert adjusted == pytest.approx([100.22, 64.50, 35.72, 64.50, 35.72, 100.22], abs=0.005)


def test_exchanger_statistics(exchanger: Reconciliation) -> None:
    """Derived from the read data: nobody printed these."""
    assert [node.imbalance for node in exchanger.nodes] == pytest.approx([2.81, 0.25, -1.79, 1.76])
    assert exchanger.gamma == pytest.approx(6.4075, abs=5e-5)
    assert exchanger.gamma_critical == pytest.approx(9.4877, abs=5e-5)
    assert exchanger.degrees_of_freedom == 4
    assert exchanger.verdict is Verdict.CLOSES
    z = [result.z for result in exchanger.streams]
    assert z == pytest.approx([2.0698, 0.0612, 1.3105, 0.3674, 0.8818, 1.6412], abs=5e-5)
    assert exchanger.z_critical == pytest.approx(2.6310, abs=5e-5)
    assert exchanger.suspects == ()
    for result in exchanger.streams:
        assert hypot(*result.weights.values()) == pytest.approx(0.5774, abs=1e-4)


def test_dropping_a_measurement_lowers_gamma_by_its_squared_z(exchanger: Reconciliation) -> None:
    """Derived identity of the variance-weighted measurement test."""
    for index, stream in enumerate(EXCHANGER):
        unmeasured = Stream(stream.name, stream.source, stream.target)
        without = reconcile([*EXCHANGER[:index], unmeasured, *EXCHANGER[index + 1 :]], NODES)
        z = exchanger.streams[index].z
        assert z is not None
        assert exchanger.gamma - without.gamma == pytest.approx(z**2, abs=1e-9)
        assert without.degrees_of_freedom == 3


# Read: same set, problem P1 (Rao & Narasimhan 1996): 9.22 = 4.83 + 3.22, sigma 3 % of each.
SPLITTER = [
    Stream("1", "in", "bin", 9.22, (0.03 * 9.22) ** 2),
    Stream("2", "bin", "out", 4.83, (0.03 * 4.83) ** 2),
    Stream("3", "bin", "out", 3.22, (0.03 * 3.22) ** 2),
]


@pytest.mark.parametrize(("streams", "nodes"), [(EXCHANGER, NODES), (SPLITTER, ["bin"])])
def test_what_the_others_give_is_a_fit_without_that_measurement(
    streams: list[Stream], nodes: list[str]
) -> None:
    """Derived from the read data by another way: flows as free steps along the null space of the
    balances, fitted by numpy to the readings that are left; covariance N (Nᵀ W N)⁻¹ Nᵀ."""
    matrix = [[(s.target == node) - (s.source == node) for s in streams] for node in nodes]
    free = null_space(np.array(matrix, float))
    y = np.array([stream.mass for stream in streams])
    u = np.sqrt([stream.variance for stream in streams])
    for index, result in enumerate(reconcile(streams, nodes).streams):
        left = np.arange(len(streams)) != index
        scaled = free[left] / u[left, None]
        steps = np.linalg.lstsq(scaled, y[left] / u[left], rcond=None)[0]
        covariance = free @ np.linalg.inv(scaled.T @ scaled) @ free.T
        assert result.others == pytest.approx((free @ steps)[index])
        weights = [result.others_weights[stream.name] for stream in streams]
        assert hypot(*(weights * u)) == pytest.approx(np.sqrt(covariance[index, index]))


def test_what_the_others_give_of_a_splitter_is_a_plain_sum_or_difference() -> None:
    """Derived by hand: 4.83 + 3.22 and 9.22 - 3.22, their spreads as root sum of squares."""
    first, second, _third = reconcile(SPLITTER, ["bin"]).streams
    assert (first.others, second.others) == pytest.approx((8.05, 6.00))
    weights = first.others_weights
    assert [weights[name] for name in "123"] == pytest.approx([0, 1, 1])


def test_one_splitter_raises_the_alarm() -> None:
    """Printed 8.38, 5.06, 3.32. Derived: gamma 12.813 over the 3.841 of one degree of freedom."""
    result = reconcile(SPLITTER, ["bin"])
    adjusted = [stream.adjusted for stream in result.streams]
    assert adjusted == pytest.approx([8.38, 5.06, 3.32], abs=0.005)
    assert adjusted == pytest.approx([8.3821, 5.0599, 3.3222], abs=5e-5)
    assert result.gamma == pytest.approx(12.813, abs=5e-4)
    assert result.gamma_critical == pytest.approx(3.841, abs=5e-4)
    assert result.verdict is not Verdict.CLOSES
    assert result.suspects == ("1", "2", "3")


@pytest.mark.parametrize(("tests", "critical"), [(6, 2.6310), (4, 2.4909), (1, 1.95996)])
def test_limits_that_share_one_chance_of_a_false_alarm(tests: int, critical: float) -> None:
    """Derived: β = 1 − (1−α)^(1/n); for one test the familiar 1.96."""
    assert sidak_critical(tests) == pytest.approx(critical, abs=5e-5)
