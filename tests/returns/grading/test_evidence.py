"""Learning from outcomes. Vectors constructed; conjugacy checked by numerical integration."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction as Fr

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, stats

from returns.grading.sums import evidence
from returns.grading.sums.evidence import EvidenceError


def test_without_outcomes_the_mean_is_the_typed_default() -> None:
    found = evidence.odds(default=Fr(3, 4), successes=0, failures=0)
    assert (found.mean, found.evidence_count) == (Fr(3, 4), 0)
    slow = evidence.minutes(default=Decimal("7.5"), observed=[])
    assert (slow.mean, slow.evidence_count) == (Fr(15, 2), 0)


def test_posterior_means_by_hand() -> None:
    """(5 x 0.8 + 7) / (5 + 10) = 11/15; (5 x 10 + 12 + 14 + 16) / (5 + 3) = 11.5."""
    found = evidence.odds(default=Fr(4, 5), successes=7, failures=3)
    assert (found.mean, found.evidence_count) == (Fr(11, 15), 10)
    assert evidence.minutes(default=Fr(10), observed=[12, 14, 16]).mean == Fr(23, 2)


@pytest.mark.parametrize(("typed", "held"), [(Fr(0), Fr(1, 100)), (Fr(1), Fr(99, 100))])
def test_certainty_is_not_believed(typed: Fr, held: Fr) -> None:
    assert evidence.odds(default=typed, successes=0, failures=0).mean == held


def test_beta_posterior_equals_prior_times_binomial_likelihood() -> None:
    prior = stats.beta(4, 1)
    grid = np.linspace(0.001, 0.999, 999)
    area, _ = integrate.quad(lambda p: prior.pdf(p) * stats.binom.pmf(7, 10, p), 0, 1)
    by_bayes = prior.pdf(grid) * stats.binom.pmf(7, 10, grid) / area
    shape = evidence.odds_posterior(Fr(4, 5), Fr(5), 7, 3)
    assert (shape.a, shape.b) == (11, 4)
    assert stats.beta(11, 4).pdf(grid) == pytest.approx(by_bayes, rel=1e-8)


def test_gamma_posterior_equals_prior_times_gamma_likelihood() -> None:
    times, k = [12.0, 14.0, 16.0], 4.0
    prior = stats.gamma(5 * k + 1, scale=1 / 50)

    def product(rate: float) -> float:
        return float(prior.pdf(rate) * np.prod(stats.gamma.pdf(times, k, scale=1 / rate)))

    area, _ = integrate.quad(product, 0, 2)
    shape = evidence.minutes_posterior(Fr(10), [Fr(12), Fr(14), Fr(16)], Fr(5), Fr(4))
    assert (shape.a, shape.b) == (33, 92)
    posterior = stats.gamma(33, scale=1 / 92)
    for rate in np.linspace(0.1, 0.8, 30):
        assert posterior.pdf(rate) == pytest.approx(product(rate) / area, rel=1e-7)


def test_mean_of_the_minutes_is_the_expectation_of_shape_over_rate() -> None:
    posterior = stats.gamma(33, scale=1 / 92)
    expected, _ = integrate.quad(lambda rate: 4 / rate * posterior.pdf(rate), 1e-6, 3)
    assert evidence.minutes(default=Fr(10), observed=[12, 14, 16]).mean == pytest.approx(expected)


def test_intervals_hold_their_level() -> None:
    found = evidence.odds(default=Fr(4, 5), successes=7, failures=3, level=0.8)
    inside = stats.beta(11, 4).cdf(found.high) - stats.beta(11, 4).cdf(found.low)
    assert inside == pytest.approx(0.8)
    slow = evidence.minutes(default=Fr(10), observed=[12, 14, 16], level=0.8)
    rates = stats.gamma(33, scale=1 / 92)
    assert rates.cdf(4 / slow.low) - rates.cdf(4 / slow.high) == pytest.approx(0.8)
    assert slow.low < slow.mean < slow.high


@given(st.integers(0, 50), st.integers(0, 50))
def test_another_success_raises_and_another_failure_lowers_the_odds(won: int, lost: int) -> None:
    mean = evidence.odds(default=Fr(1, 2), successes=won, failures=lost).mean
    assert evidence.odds(default=Fr(1, 2), successes=won + 1, failures=lost).mean > mean
    assert evidence.odds(default=Fr(1, 2), successes=won, failures=lost + 1).mean < mean


def test_more_of_the_same_evidence_narrows_the_interval() -> None:
    few = evidence.odds(default=Fr(1, 2), successes=5, failures=5)
    many = evidence.odds(default=Fr(1, 2), successes=50, failures=50)
    assert many.high - many.low < few.high - few.low


@pytest.mark.parametrize(
    ("ask", "code"),
    [
        (lambda: evidence.odds(default=Fr(1, 2), successes=-1, failures=0), "counts"),
        (lambda: evidence.odds(default=Fr(3, 2), successes=0, failures=0), "default-odds"),
        (lambda: evidence.odds(default=Fr(1, 2), successes=0, failures=0, weight=0), "weight"),
        (lambda: evidence.odds(default=Fr(1, 2), successes=0, failures=0, level=1.0), "level"),
        (lambda: evidence.minutes(default=Fr(0), observed=[]), "minutes"),
        (lambda: evidence.minutes(default=Fr(5), observed=[0]), "minutes"),
        (lambda: evidence.minutes(default=Fr(5), observed=[], shape=0), "shape"),
    ],
)
def test_nonsense_is_refused(ask, code: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(EvidenceError) as refused:
        ask()
    assert refused.value.code == code
