"""What the workshop's own outcomes say about a remedy: its odds and its minutes.

The remedy's typed default counts as a stated number of earlier cases (the prior's weight), so a
new workshop starts from judgement and is led by its own record as that grows. Means are exact
fractions, ready for grading; intervals are floats for display and are never stored.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from returns.refusals import Refused

# Nothing a hand does is certain: a typed 0 % or 100 % would shut out all evidence.
ODDS_MIN: Final = Fraction(1, 100)
ODDS_MAX: Final = Fraction(99, 100)
# Own choice: bench times of one remedy spread by about half their mean (1 / sqrt(4)).
MINUTES_SHAPE_DEFAULT: Final = Fraction(4)
WEIGHT_DEFAULT: Final = Fraction(5)
LEVEL_DEFAULT: Final = 0.9


class EvidenceError(Refused):
    """Outcomes that cannot be learnt from."""


@dataclass(frozen=True, slots=True)
class Estimate:
    """An estimate with its central credible interval and the count of own cases behind it."""

    mean: Fraction
    low: float
    high: float
    evidence_count: int


@dataclass(frozen=True, slots=True)
class Shape:
    """The two parameters of a Beta (a, b) or of a Gamma for a rate (shape a, rate b)."""

    a: Fraction
    b: Fraction


def odds(
    *,
    default: Fraction | Decimal,
    successes: Fraction | int,
    failures: Fraction | int,
    weight: Fraction | int = WEIGHT_DEFAULT,
    level: float = LEVEL_DEFAULT,
) -> Estimate:
    """Estimate the odds that a remedy passes its bench check, from a Beta prior.

    `default` is the typed probability, held to 0.01..0.99; `weight` how many cases it counts
    for. Cases of which nobody can tell the outcome count in shares. Raises `EvidenceError`.
    """
    if successes < 0 or failures < 0:
        raise EvidenceError("counts", "Counts of outcomes cannot be below zero.")
    if not 0 <= default <= 1:
        raise EvidenceError("default-odds", "The typed odds must lie in 0 to 1.")
    _require_weight_and_level(weight, level)
    posterior = odds_posterior(Fraction(default), Fraction(weight), successes, failures)
    count = round(successes + failures)
    low, high = _beta_interval(posterior, level)
    return Estimate(
        mean=posterior.a / (posterior.a + posterior.b),
        low=low,
        high=high,
        evidence_count=count,
    )


def odds_posterior(
    default: Fraction, weight: Fraction, successes: Fraction | int, failures: Fraction | int
) -> Shape:
    """Return the Beta posterior: a = weight * odds + successes, b likewise with failures."""
    held = min(max(default, ODDS_MIN), ODDS_MAX)
    return Shape(weight * held + successes, weight * (1 - held) + failures)


def minutes(
    *,
    default: Fraction | Decimal,
    observed: Sequence[Fraction | Decimal | int],
    weight: Fraction | int = WEIGHT_DEFAULT,
    shape: Fraction | int = MINUTES_SHAPE_DEFAULT,
    level: float = LEVEL_DEFAULT,
) -> Estimate:
    """Estimate the mean bench minutes of a remedy, from a Gamma prior on the rate.

    Times are taken as Gamma with the known `shape`. The posterior mean is then the mean of the
    observed times and `weight` times at the default. Raises `EvidenceError`.
    """
    if default <= 0 or any(time <= 0 for time in observed):
        raise EvidenceError("minutes", "Minutes must be above zero.")
    if shape <= 0:
        raise EvidenceError("shape", "The shape must be above zero.")
    _require_weight_and_level(weight, level)
    times = [Fraction(time) for time in observed]
    rate = minutes_posterior(Fraction(default), times, Fraction(weight), Fraction(shape))
    low, high = _mean_minutes_interval(rate, Fraction(shape), level)
    return Estimate(
        # The mean of shape / rate, with the rate a Gamma: an inverse Gamma, whose mean divides by a
        # - 1. The prior's + 1 is there so that this is never zero.
        mean=Fraction(shape) * rate.b / (rate.a - 1),
        low=low,
        high=high,
        evidence_count=len(times),
    )


def minutes_posterior(
    default: Fraction, observed: Sequence[Fraction], weight: Fraction, shape: Fraction
) -> Shape:
    """Return the Gamma posterior of the rate (per minute): shape a, rate b.

    The prior has a = weight * shape + 1 and b = weight * default, so that the mean time
    shape / rate is expected at the default.
    """
    return Shape(
        weight * shape + 1 + shape * len(observed),
        weight * default + sum(observed, Fraction(0)),
    )


def _require_weight_and_level(weight: Fraction | int, level: float) -> None:
    if weight <= 0:
        raise EvidenceError("weight", "The typed default must count for more than zero cases.")
    if not 0 < level < 1:
        raise EvidenceError("level", "The level of the interval lies between 0 and 1.")


def _beta_interval(posterior: Shape, level: float) -> tuple[float, float]:
    # Imported where it is used: scipy takes long to load, and only a page of the owner's needs it.
    from scipy import stats

    low, high = stats.beta.interval(level, float(posterior.a), float(posterior.b))
    return float(low), float(high)


def _mean_minutes_interval(rate: Shape, shape: Fraction, level: float) -> tuple[float, float]:
    """Turn the interval of the rate over: the mean time is shape / rate."""
    from scipy import stats

    # A high rate is a short time, so the two ends change places.
    slow, fast = stats.gamma.interval(level, float(rate.a), scale=1 / float(rate.b))
    return float(shape) / float(fast), float(shape) / float(slow)
