"""Weibull fits of failures that are known by month only: against a library, and by simulation."""

from __future__ import annotations

import math
from collections import Counter

import numpy as np
import pytest

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.lifetimes.sums.lifetimes import Exposure
from returns.figures.lifetimes.sums.weibull import censored_for, weibull_fit

CONSTRUCTED = [
    Exposure(1.5, "snapped", 9, since=0.0),
    Exposure(2.5, "snapped", 11, since=1.5),
    Exposure(4.5, "snapped", 17, since=3.5),
    Exposure(5.0, "snapped", 2),
    Exposure(3.5, "", 20),
    Exposure(6.5, "", 80),
]


def test_fit_agrees_with_an_independent_library() -> None:
    """lifelines (independent), WeibullFitter.fit_interval_censoring; lambda is eta, rho beta."""
    from lifelines import WeibullFitter

    peer = WeibullFitter().fit_interval_censoring(
        [row.span if row.since is None else row.since for row in CONSTRUCTED],
        [row.span if row.cause else math.inf for row in CONSTRUCTED],
        weights=[row.units for row in CONSTRUCTED],
    )
    fit = weibull_fit(CONSTRUCTED)
    assert fit.scale == pytest.approx(float(peer.lambda_), rel=1e-4)
    assert fit.shape == pytest.approx(float(peer.rho_), rel=1e-4)
    assert fit.log_likelihood == pytest.approx(float(peer.log_likelihood_), rel=1e-6)
    errors = peer.summary["se(coef)"]
    assert fit.scale_standard_error == pytest.approx(float(errors["lambda_"]), rel=1e-3)
    assert fit.shape_standard_error == pytest.approx(float(errors["rho_"]), rel=1e-3)


def test_narrow_intervals_give_the_fit_of_exact_spans() -> None:
    spans = (2.0, 3.5, 4.1, 7.7, 9.2, 11.0)
    still = Exposure(12.0, "", 30)
    exact = weibull_fit([*(Exposure(span, "worn") for span in spans), still])
    narrow = weibull_fit(
        [*(Exposure(span + 5e-4, "worn", since=span - 5e-4) for span in spans), still]
    )
    assert narrow.shape == pytest.approx(exact.shape, rel=1e-5)
    assert narrow.scale == pytest.approx(exact.scale, rel=1e-5)
    assert narrow.covariance == pytest.approx(exact.covariance, rel=1e-3)


def by_month(shape: float, scale: float, seed: int, *, months: int, sold: int) -> list[Exposure]:
    """Sold evenly through each month, back in the month in which they fail; all else censored."""
    draw = np.random.default_rng(seed)
    rows: Counter[tuple[float, str, float | None]] = Counter()
    for sale in range(months):
        at = sale + draw.random(sold)
        back = np.floor(at + scale * draw.weibull(shape, sold)).astype(int) - sale
        for age in np.minimum(back, months - sale).tolist():
            if age == months - sale:
                rows[months - sale - 0.5, "", None] += 1
            else:
                rows[max(1, age) + 0.5, "back", age - 0.5 if age > 1 else 0.0] += 1
    return [Exposure(span, cause, units, since) for (span, cause, since), units in rows.items()]


@pytest.mark.parametrize("shape", [0.8, 1.0, 1.5, 2.5])
def test_fit_finds_the_shape_behind_returns_known_by_month(shape: float) -> None:
    """Derived: 40 workshops of 12 months; the middle of their fits must not lie off the truth."""
    fits = [weibull_fit(by_month(shape, 25.0, seed, months=12, sold=150)) for seed in range(40)]
    shapes = np.array([fit.shape for fit in fits])
    error = float(shapes.std(ddof=1)) / math.sqrt(len(fits))
    assert abs(float(shapes.mean()) - shape) < 4 * error + 0.03 * shape
    held = sum(abs(fit.shape - shape) < 2 * fit.shape_standard_error for fit in fits)
    assert held >= 33


def test_a_month_taken_as_an_exact_span_would_find_wear_where_there_is_none() -> None:
    rows = by_month(1.0, 25.0, 3, months=12, sold=1500)
    exact = [Exposure(row.span, row.cause, row.units) for row in rows]
    assert weibull_fit(exact).shape > 1.15
    assert weibull_fit(rows).shape == pytest.approx(1.0, abs=0.1)


def test_failures_of_one_interval_alone_give_no_shape() -> None:
    with pytest.raises(NotEnoughEvidence, match="different failure spans"):
        weibull_fit([Exposure(1.5, "back", 9, since=0.0), Exposure(6.5, "", 40)])


@pytest.mark.parametrize(
    ("cause", "since"), [("", 1.0), ("worn", -0.1), ("worn", 2.0), ("worn", 3.0)]
)
def test_an_interval_must_be_a_failures_and_run_forward(cause: str, since: float) -> None:
    with pytest.raises(InputRefused, match="between two spans"):
        Exposure(2.0, cause, since=since)


def test_what_another_cause_took_was_in_use_up_to_the_middle() -> None:
    rows = [Exposure(2.5, "snapped", 3, since=1.5), Exposure(4.5, "worn", since=3.5)]
    assert censored_for(rows, "worn") == (Exposure(2.0, "", 3), rows[1])


def test_two_intervals_with_some_still_out_have_the_fit_that_passes_through_both_shares() -> None:
    """Derived: 30 of 100 failed by 1.5 and 10 more by 2.5, so that S is 0.7 and 0.6 there;
    beta = ln(ln 0.6 / ln 0.7) / ln(2.5 / 1.5), eta = 1.5 (-ln 0.7)^(-1 / beta)."""
    back = [Exposure(1.5, "worn", 30, since=0.0), Exposure(2.5, "worn", 10, since=1.5)]
    fit = weibull_fit([*back, Exposure(2.5, "", 60)])
    shape = math.log(math.log(0.6) / math.log(0.7)) / math.log(2.5 / 1.5)
    assert fit.shape == pytest.approx(shape, rel=1e-5)
    assert fit.scale == pytest.approx(1.5 * (-math.log(0.7)) ** (-1 / shape), rel=1e-5)


@pytest.mark.parametrize("earlier", [[], [Exposure(1.5, "", 19)]])
def test_two_intervals_with_none_left_after_them_fix_no_shape(earlier: list[Exposure]) -> None:
    """Any shape passes through the one share between them, the steeper the likelier."""
    back = [Exposure(1.5, "worn", 35, since=0.0), Exposure(2.5, "worn", 1, since=1.5)]
    with pytest.raises(NotEnoughEvidence, match="1 different failure spans seen, 2 needed"):
        weibull_fit([*back, *earlier])
    third = Exposure(3.5, "worn", 1, since=2.5)
    fit = weibull_fit([*back, *earlier, third])
    assert fit.shape_standard_error < fit.shape
