"""Forecast sums against published lag and run-off examples."""

from __future__ import annotations

import math

import pytest

from returns.figures.forecast.sums.cohorts import HazardTable, expected_returns
from returns.figures.forecast.sums.projection import seasonal_indices
from returns.figures.forecast.sums.run_off import run_off

# Taylor and Ashe 1983 as in Mack, ASTIN Bulletin 23 (1993); read in several public repositories.
# One secondary source misprints the fourth value of the first row as 2182708.
TRIANGLE = """
357848 1124788 1735330 2218270 2745596 3319994 3466336 3606286 3833515 3901463
352118 1236139 2170033 3353322 3799067 4120063 4647867 4914039 5339085
290507 1292306 2218525 3235179 3985995 4132918 4628910 4909315
310608 1418858 2195047 3757447 4029929 4381982 4588268
443160 1136350 2128333 2897821 3402672 3873311
396132 1333217 2180715 2985752 3691712
440832 1288463 2419861 3483130
359480 1421128 2864498
376686 1363294
344014
"""
FACTORS = (3.4906, 1.7473, 1.4574, 1.1739, 1.1038, 1.0863, 1.0539, 1.0766, 1.0177)
# The last two are from memory, the others read.
ERRORS = (0, 75535, 121699, 133549, 261406, 411010, 558317, 875328, 971258, 1363155)
# Recomputed, not printed: outstanding by cohort.
OUTSTANDING = (
    *(0, 94634, 469511, 709638, 984889),
    *(1419459, 2177641, 3920301, 4278972, 4625811),
)


@pytest.fixture(scope="module")
def developed():
    return run_off([[int(word) for word in row.split()] for row in TRIANGLE.split("\n") if row])


def test_taylor_ashe_factors(developed):
    assert developed.factors == pytest.approx(FACTORS, abs=5e-5)


def test_taylor_ashe_totals(developed):
    assert sum(developed.latest) == 34_358_090
    assert math.fsum(developed.outstanding) == pytest.approx(18_680_856, abs=0.5)
    assert math.fsum(developed.ultimates) == pytest.approx(53_038_946, abs=0.5)
    assert developed.outstanding == pytest.approx(OUTSTANDING, abs=0.5)


def test_taylor_ashe_standard_errors(developed):
    assert developed.standard_errors == pytest.approx(ERRORS, abs=0.5)
    assert developed.total_standard_error == pytest.approx(2_447_095, abs=0.5)


def test_the_misprinted_triangle_misses_the_published_total():
    rows = [[int(word) for word in row.split()] for row in TRIANGLE.split("\n") if row]
    rows[0][3] = 2_182_708
    assert abs(math.fsum(run_off(rows).outstanding) - 18_680_856) > 1000


def returns_of(sales, shares, *, months):
    """Sales of running months, each coming back by these shares, the first month after its own."""
    out, hazards = 1.0, []
    for share in shares:
        hazards.append(share / out)
        out -= share
    units = list(enumerate(sales))
    table = HazardTable(tuple(hazards), 0.0)
    return expected_returns(units, table, as_of=0, times=[1.0] * months)


# Gujarati, Basic Econometrics, example 17.1 (read on a teaching page): weights 0.4, 0.3, 0.2 on a
# permanent step of 2000 give 800, then 600 and 400 more, 1800 in all. A month of theirs is the
# month after the sale here.
def test_gujarati_consumption_step():
    assert returns_of([2000] * 5, (0.4, 0.3, 0.2), months=5) == pytest.approx(
        (800, 1400, 1800, 1800, 1800)
    )


# Derived: the mean lag of the same weights.
def test_gujarati_mean_lag():
    shares = returns_of([1], (0.4, 0.3, 0.2), months=3)
    mean_lag = sum(lag * share for lag, share in enumerate(shares)) / sum(shares)
    assert mean_lag == pytest.approx(0.7778, abs=5e-5)


# Derived: sales 100, 120, 80; eventual share 0.6; Weibull with eta 24 and beta 1.5.
def test_weibull_lags_of_three_cohorts():
    def failed_by(month):
        return -math.expm1(-((month / 24) ** 1.5))

    steps = [failed_by(k) - failed_by(k - 1) for k in range(1, 7)]
    expected_steps = (0.008469, 0.015300, 0.019463, 0.022546, 0.024931, 0.026794)
    assert steps == pytest.approx(expected_steps, abs=5e-7)
    returns = returns_of([100, 120, 80], [0.6 * step for step in steps], months=5)
    assert returns == pytest.approx((0.5081, 1.5278, 2.6759, 3.4885, 4.0534), abs=5e-5)


def test_seasonal_factors_of_quarters():
    """Data second-hand: NIST/SEMATECH e-Handbook 6.4.3.6, six years of quarters. Derived: ratios to
    the centred moving average over four quarters, scaled to sum to four."""
    quarters = (
        "362 385 432 341 382 409 498 387 473 513 582 474 "
        "544 582 681 557 628 707 773 592 627 725 854 661"
    )
    found = seasonal_indices([float(count) for count in quarters.split()], 4)
    assert found == pytest.approx((0.960520, 1.022149, 1.140021, 0.877310), abs=5e-7)
