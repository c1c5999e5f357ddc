"""Competing causes: each cause's own Weibull fit, against identities and an independent library."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from returns.figures.claims.sums.claims import NotEnoughEvidence
from returns.figures.lifetimes.sums.lifetimes import Exposure
from returns.figures.lifetimes.sums.weibull import Weibull, cause_weibull, censored_for, weibull_fit


def two_causes(seed: int = 3, units: int = 400) -> list[Exposure]:
    """Constructed: snaps (shape 0.9, scale 40) and wears (shape 3, scale 30), all seen to 24."""
    rng = np.random.default_rng(seed)
    snaps, wears = 40 * rng.weibull(0.9, units), 30 * rng.weibull(3.0, units)
    rows = []
    for snap, wear in zip(snaps, wears, strict=True):
        first = min(snap, wear)
        cause = "" if first > 24 else ("snapped" if snap < wear else "worn")
        rows.append(Exposure(float(max(0.01, min(first, 24.0))), cause))
    return rows


def test_another_causes_unit_is_censored_at_its_age() -> None:
    rows = [Exposure(3, "snapped", 2), Exposure(4, "worn"), Exposure(9)]
    assert censored_for(rows, "worn") == (Exposure(3, "", 2), Exposure(4, "worn"), Exposure(9))


@pytest.mark.parametrize("cause", ["snapped", "worn"])
def test_fit_agrees_with_an_independent_library(cause: str) -> None:
    """Independent: lifelines WeibullFitter with the other cause censored."""
    from lifelines import WeibullFitter

    rows = two_causes()
    fit = cause_weibull(rows, cause=cause)
    theirs = WeibullFitter().fit([row.span for row in rows], [row.cause == cause for row in rows])
    assert fit.shape == pytest.approx(theirs.rho_, rel=1e-4)
    assert fit.scale == pytest.approx(theirs.lambda_, rel=1e-4)
    assert fit.shape_standard_error == pytest.approx(theirs.summary["se(coef)"]["rho_"], rel=1e-3)


def test_the_truth_lies_within_three_standard_errors() -> None:
    rows = two_causes()
    for cause, shape, scale in (("snapped", 0.9, 40), ("worn", 3.0, 30)):
        fit = cause_weibull(rows, cause=cause)
        assert abs(fit.shape - shape) < 3 * fit.shape_standard_error
        assert abs(fit.scale - scale) < 3 * fit.scale_standard_error


def test_one_cause_alone_is_the_whole_fit() -> None:
    rows = [Exposure(span, "worn") for span in (3, 5, 7, 8, 9)] + [Exposure(12, "", 6)]
    assert cause_weibull(rows, cause="worn") == weibull_fit(rows)


def test_a_cause_seen_too_seldom_has_no_fit() -> None:
    rows = [Exposure(float(n), "worn") for n in range(1, 9)] + [Exposure(4, "snapped", 4)]
    with pytest.raises(NotEnoughEvidence) as thin:
        cause_weibull(rows, cause="snapped")
    assert (thin.value.have, thin.value.need) == (4, 5)


def _log_likelihood(rows: list[Exposure], fits: dict[str, Weibull]) -> float:
    """Of the whole: each failure's density of its own cause, everybody's survival of all."""
    total = 0.0
    for row in rows:
        for cause, fit in fits.items():
            total -= row.units * (row.span / fit.scale) ** fit.shape
            if row.cause == cause:
                rate = (fit.shape / fit.scale) * (row.span / fit.scale) ** (fit.shape - 1)
                total += row.units * math.log(rate)
    return total


@settings(max_examples=20)
@given(st.integers(0, 1000))
def test_likelihood_of_the_whole_is_the_product_of_the_causes(seed: int) -> None:
    """Derived: with Weibull causes the log-likelihoods add, so each may be fitted alone."""
    rows = two_causes(seed, 120)
    fits = {cause: cause_weibull(rows, cause=cause) for cause in ("snapped", "worn")}
    parts = math.fsum(fit.log_likelihood for fit in fits.values())
    assert parts == pytest.approx(_log_likelihood(rows, fits), rel=1e-9)
