"""Lifetime sums against published data sets and fits, and against an independent library."""

from __future__ import annotations

import pytest

from returns.figures.lifetimes.sums.lifetimes import (
    AgedCohort,
    Exposure,
    age_hazards,
    median_span,
    survival_curve,
)
from returns.figures.lifetimes.sums.weibull import weibull_fit


def figures(text):
    return tuple(float(word) for word in text.split())


# Freireich et al. 1963, weeks in remission, 6-MP against placebo. Data read in Introductory
# Biostatistics, example 11.1; the table is R survfit output in a public course repository (read).
TREATED_FAILED = (6, 6, 6, 7, 10, 13, 16, 22, 23)
TREATED_STILL_IN = (6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35)
PLACEBO = (1, 1, 2, 2, 3, 4, 4, 5, 5, 8, 8, 8, 8, 11, 11, 12, 12, 15, 17, 22, 23)
TREATED_PUBLISHED = (
    (6, 21, 3, 0.857, 0.0764),
    (7, 17, 1, 0.807, 0.0869),
    (10, 15, 1, 0.753, 0.0963),
    (13, 12, 1, 0.690, 0.1068),
    (16, 11, 1, 0.627, 0.1141),
    (22, 7, 1, 0.538, 0.1282),
    (23, 6, 1, 0.448, 0.1346),
)
# Log-log limits as Stata's "sts list" prints them for the same data (from memory).
TREATED_LIMITS = (
    (0.6197, 0.9516),
    (0.5631, 0.9228),
    (0.5032, 0.8894),
    (0.4316, 0.8491),
    (0.3675, 0.8049),
    (0.2678, 0.7468),
    (0.1881, 0.6801),
)
PLACEBO_SURVIVAL = figures(
    """
    0.9048 0.8095 0.7619 0.6667 0.5714 0.381 0.2857 0.1905 0.1429 0.0952 0.0476 0
    """
)
PLACEBO_ERRORS = figures(
    """
    0.0641 0.0857 0.0929 0.1029 0.108 0.106 0.0986 0.0857 0.0764 0.0641 0.0465
    """
)


def exposures(failed, still_in=()):
    rows = [Exposure(span, "worn") for span in failed]
    return rows + [Exposure(span) for span in still_in]


def test_freireich_treated_group_with_its_limits():
    curve = survival_curve(exposures(TREATED_FAILED, TREATED_STILL_IN))
    assert [(p.span, p.at_risk, p.failed) for p in curve] == [row[:3] for row in TREATED_PUBLISHED]
    for point, row, limits in zip(curve, TREATED_PUBLISHED, TREATED_LIMITS, strict=True):
        assert point.survival == pytest.approx(row[3], abs=5e-4)
        assert point.standard_error == pytest.approx(row[4], abs=5e-5)
        assert point.loglog_limits == pytest.approx(limits, abs=5e-5)
    assert median_span(curve) == 23


def test_freireich_placebo_group():
    curve = survival_curve(exposures(PLACEBO))
    assert [p.survival for p in curve] == pytest.approx(PLACEBO_SURVIVAL, abs=5e-5)
    assert [p.standard_error for p in curve[:-1]] == pytest.approx(PLACEBO_ERRORS, abs=5e-5)
    assert curve[-1].standard_error is None
    assert median_span(curve) == 8


# NIST/SEMATECH e-Handbook of Statistical Methods, 8.4.1.3 (read).
def test_nist_weibull_with_ten_units_unfailed_at_500_hours():
    failed = (54, 187, 216, 240, 244, 335, 361, 373, 375, 386)
    fit = weibull_fit([*exposures(failed), Exposure(500, units=10)])
    assert fit.scale == pytest.approx(606.5280, abs=1e-3)
    assert fit.shape == pytest.approx(1.7208, abs=5e-5)
    assert fit.log_likelihood == pytest.approx(-75.135, abs=5e-4)
    assert 4 - 2 * fit.log_likelihood == pytest.approx(154.27, abs=5e-3)
    assert fit.mean == pytest.approx(540.737, abs=5e-4)


# Meeker and Escobar, Statistical Methods for Reliability Data, 1998, Table C.2. Data and fit read
# in two public R packages; the book's eta and beta are from memory. A common copy misprints one
# datum as 18420, and its fit then misses the fifth digit of sigma.
SHOCK_FAILED = figures("6700 9120 12200 13150 14300 17520 20100 20900 22700 26510 27490")
SHOCK_STILL_IN = figures(
    """
    6950 7820 8790 9660 9820 11310 11690 11850 11880 12140 12870 13330 13470 14040 17540
    17890 18450 18960 18980 19410 20100 20150 20320 23490 27410 27890 28100
    """
)


def test_shock_absorbers():
    fit = weibull_fit(exposures(SHOCK_FAILED, SHOCK_STILL_IN))
    assert (fit.failures, fit.units) == (11, 38)
    assert fit.mu == pytest.approx(10.2298631, abs=1e-6)
    assert fit.sigma == pytest.approx(0.3164092, abs=1e-6)
    assert fit.covariance == pytest.approx((0.012075836, 0.003990396, 0.005353183), abs=1e-6)
    assert fit.log_likelihood == pytest.approx(-123.9954, abs=5e-5)
    # From memory: the book's table.
    assert fit.scale == pytest.approx(27719, abs=0.5)
    assert fit.scale_standard_error == pytest.approx(3046, abs=0.5)
    assert fit.shape == pytest.approx(3.16, abs=0.005)
    assert fit.shape_standard_error == pytest.approx(0.731, abs=5e-4)


def test_shock_absorbers_with_the_misprinted_datum_miss_the_published_sigma():
    misprinted = [18420 if span == 18450 else span for span in SHOCK_STILL_IN]
    fit = weibull_fit(exposures(SHOCK_FAILED, misprinted))
    assert abs(fit.sigma - 0.3164092) > 5e-6


# Lieblein and Zelen 1956, complete data (read in a public R package); the book's fit, which takes
# 48.48 for 48.40, from memory; both are recomputed.
BEARINGS = figures(
    """
    17.88 28.92 33 41.52 42.12 45.6 51.84 51.96 54.12 55.56 67.8 68.64 68.64 68.88 84.12
    93.12 98.64 105.12 105.84 127.92 128.04 173.4
    """
)


@pytest.mark.parametrize(
    ("seventh", "shape", "scale"), [(48.4, 2.10185, 81.8746), (48.48, 2.10206, 81.8783)]
)
def test_ball_bearings(seventh, shape, scale):
    fit = weibull_fit(exposures((*BEARINGS, seventh)))
    assert fit.shape == pytest.approx(shape, abs=5e-6)
    assert fit.scale == pytest.approx(scale, abs=5e-5)
    assert fit.shape == pytest.approx(2.102, abs=5e-4)
    assert fit.scale == pytest.approx(81.88, abs=0.006)


# Heat-exchanger tubes, Meeker and Escobar chapter 3: totals read in a public R package, the split
# over the three plants and the printed shares and errors from memory.
def test_heat_exchanger_tubes_of_three_ages():
    hazards = age_hazards(
        [AgedCohort(100, (1, 2, 2)), AgedCohort(100, (2, 3)), AgedCohort(100, (1,))]
    )
    assert [(h.at_risk, h.failed) for h in hazards] == [(300, 4), (197, 5), (97, 2)]
    assert [h.hazard for h in hazards] == pytest.approx([0.0133, 0.0254, 0.0206], abs=5e-5)
    assert [h.failed_by for h in hazards] == pytest.approx([0.0133, 0.0384, 0.0582], abs=5e-5)
    errors = [h.standard_error for h in hazards]
    assert errors == pytest.approx([0.00662, 0.0128, 0.0187], abs=5e-5)
    assert errors[0] == pytest.approx(0.00662, abs=5e-6)


@pytest.mark.slow
def test_curve_agrees_with_an_independent_library():
    from lifelines import KaplanMeierFitter

    spans = [*TREATED_FAILED, *TREATED_STILL_IN]
    seen = [1] * len(TREATED_FAILED) + [0] * len(TREATED_STILL_IN)
    peer = KaplanMeierFitter().fit(spans, seen)
    for point in survival_curve(exposures(TREATED_FAILED, TREATED_STILL_IN)):
        assert point.survival == pytest.approx(float(peer.predict(point.span)), rel=1e-12)
        limits = tuple(peer.confidence_interval_.loc[point.span])
        assert point.loglog_limits == pytest.approx(limits, rel=1e-9)


def test_curve_agrees_with_the_empirical_distribution_of_scipy():
    from scipy.stats import CensoredData, ecdf

    survival = ecdf(CensoredData(uncensored=TREATED_FAILED, right=TREATED_STILL_IN)).sf
    for point in survival_curve(exposures(TREATED_FAILED, TREATED_STILL_IN)):
        assert point.survival == pytest.approx(float(survival.evaluate(point.span)), rel=1e-12)


def test_weibull_fit_agrees_with_an_independent_library():
    from lifelines import WeibullFitter

    spans = [*SHOCK_FAILED, *SHOCK_STILL_IN]
    seen = [1] * len(SHOCK_FAILED) + [0] * len(SHOCK_STILL_IN)
    peer = WeibullFitter().fit(spans, seen)
    fit = weibull_fit(exposures(SHOCK_FAILED, SHOCK_STILL_IN))
    assert fit.shape == pytest.approx(peer.rho_, rel=1e-5)
    assert fit.scale == pytest.approx(peer.lambda_, rel=1e-5)
    assert fit.log_likelihood == pytest.approx(peer.log_likelihood_, rel=1e-9)
