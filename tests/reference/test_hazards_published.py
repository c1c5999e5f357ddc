"""Comparisons of failure rates held against what others printed; each check names its source.

Tags: read = seen on the source named; derived = worked out from a formula.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import pytest

from returns.figures.design.sums import (
    AgeRow,
    LogRank,
    always_valid_p,
    hazard_ratio,
    holm,
    log_rank,
)

Times = Sequence[tuple[float, bool]]


def parsed(text: str) -> list[tuple[float, bool]]:
    """Read times such as "6 9+", where + is a unit that had not failed when last seen."""
    return [(float(one.rstrip("+")), not one.endswith("+")) for one in text.split()]


def rows(group: Times, others: Times) -> list[AgeRow]:
    """Return the ages at which something failed."""
    ages = sorted({time for time, failed in (*group, *others) if failed})
    return [
        AgeRow(
            sum(time >= age for time, _failed in group),
            sum(time == age and failed for time, failed in group),
            sum(time >= age for time, _failed in others),
            sum(time == age and failed for time, failed in others),
        )
        for age in ages
    ]


def chi_square(found: LogRank) -> float:
    return (found.observed - found.expected) ** 2 / found.variance


DRUG = parsed("6 6 6 6+ 7 9+ 10 10+ 11+ 13 16 17+ 19+ 20+ 22 23 25+ 32+ 32+ 34+ 35+")
PLACEBO = parsed("1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23")
KEPT = parsed("9 13 13+ 18 23 28+ 31 34 45+ 48 161+")
LEFT = parsed("5 5 8 8 12 16+ 23 27 30 33 43 45")


def test_log_rank_of_the_leukaemia_trial() -> None:
    """Read: lifelines, tests/test_statistics.py and datasets/gehan.dat (Freireich 1963): χ² 16.8, p
    4.17e-05. Derived: 9 of 19.250501 expected, variance 6.256961."""
    found = log_rank(rows(DRUG, PLACEBO))
    assert (found.observed, found.expected) == (9, pytest.approx(19.250501, abs=1e-6))
    assert found.variance == pytest.approx(6.256961, abs=1e-6)
    assert chi_square(found) == pytest.approx(16.8, abs=0.05)


def test_hazard_ratio_of_the_leukaemia_trial() -> None:
    """From memory: Cox 1972 by Breslow: β 1.509, ratio 4.523. Derived: 1.509191, se 0.409564."""
    found = hazard_ratio(rows(PLACEBO, DRUG))
    assert found is not None
    assert found.log_ratio == pytest.approx(1.509191, abs=1e-6)
    assert found.standard_error == pytest.approx(0.409564, abs=1e-6)
    assert found.ratio == pytest.approx(4.523, abs=5e-4)


def test_log_rank_of_kept_treatment() -> None:
    """Read: therneau/survival, tests/difftest.Rout.save (Miller 1981): 10.69 and 7.31 expected, χ²
    3.4."""
    found = log_rank(rows(KEPT, LEFT))
    assert found.expected == pytest.approx(10.69, abs=0.005)
    assert chi_square(found) == pytest.approx(3.4, abs=0.05)


def test_hazard_ratio_of_kept_treatment() -> None:
    """Read: therneau/survival, tests/doaml.Rout.save, Breslow: β 0.9042, ratio 2.47, se 0.5122, z
    1.765."""
    found = hazard_ratio(rows(LEFT, KEPT))
    assert found is not None
    assert found.log_ratio == pytest.approx(0.9042, abs=5e-5)
    assert found.standard_error == pytest.approx(0.5122, abs=5e-5)
    assert found.ratio == pytest.approx(2.47, abs=5e-3)


def test_log_rank_with_ties_and_without_censoring() -> None:
    """Read: lifelines, tests/test_statistics.py: 10 20 30 against 10 20 50: χ² 0.2542."""
    found = log_rank(rows(parsed("10 20 30"), parsed("10 20 50")))
    assert chi_square(found) == pytest.approx(0.2542, abs=5e-5)


def test_p_that_may_be_looked_at_at_any_time() -> None:
    """Second-hand: a public text after Johari, Pekelis & Walsh 2017: 55 of 500 against 40 of 500, τ
    0.05: p about 0.91. Derived: 0.908257."""
    one, other = 55 / 500, 40 / 500
    pooled = 95 / 1000
    error = math.sqrt(pooled * (1 - pooled) * 2 / 500)
    unpooled = math.sqrt(one * (1 - one) / 500 + other * (1 - other) / 500)
    found = always_valid_p((one - other) / unpooled, unpooled, looked_for=0.05)
    assert found == pytest.approx(0.91, abs=0.005)
    assert always_valid_p((one - other) / error, error, looked_for=0.05) == pytest.approx(
        0.91, abs=0.01
    )


def test_holm_by_hand() -> None:
    """Derived: 0.01 × 3, 0.02 × 2, 0.04; never below the one before."""
    assert holm([0.04, 0.01, 0.02]) == pytest.approx([0.04, 0.03, 0.04])
    assert holm([]) == []
