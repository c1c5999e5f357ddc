"""How much sooner one group of frames breaks than the others, by proportional hazards.

Both groups are compared within each age, so that an older batch is not blamed for its age. The
score test is the log-rank test; the ratio is Cox's with Breslow's handling of ties. Whoever looks
every month at many batches finds one by chance: each p stays valid however often it is looked at
(a mixture sequential probability ratio test), and is corrected for the number of groups (Holm).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

# The workshop's own choices.
FAILURES_MIN = 5
SIGNIFICANCE = 0.05
LOOKED_FOR = math.log(2)
"""How large a log ratio is looked for: about twice, or half, as often."""
STEPS_MAX = 60


@dataclass(frozen=True, slots=True)
class AgeRow:
    """One age: units at risk and failures, of the group and of all others."""

    at_risk: int
    failed: int
    others_at_risk: int
    others_failed: int


@dataclass(frozen=True, slots=True)
class LogRank:
    """Failures seen in the group, expected if it failed as the others, and their variance."""

    observed: int
    expected: float
    variance: float


@dataclass(frozen=True, slots=True)
class Ratio:
    """Hazard of the group over that of the others: log, standard error of that, and its p.

    `p_value` may be looked at as often as one likes.
    """

    log_ratio: float
    standard_error: float
    p_value: float

    @property
    def ratio(self) -> float:
        return math.exp(self.log_ratio)

    def limits(self, comparisons: int) -> tuple[float, float]:
        """Return limits that hold 95 % of the time for so many comparisons together."""
        from scipy.special import ndtri

        z = -float(ndtri(SIGNIFICANCE / 2 / max(1, comparisons)))
        reach = z * self.standard_error
        return math.exp(self.log_ratio - reach), math.exp(self.log_ratio + reach)


def log_rank(rows: Sequence[AgeRow]) -> LogRank:
    """Return the log-rank test of the group against the others (Mantel 1966, from memory)."""
    observed, expected, variance = 0, [], []
    for row in rows:
        at_risk, failed = row.at_risk + row.others_at_risk, row.failed + row.others_failed
        observed += row.failed
        if not at_risk:
            continue
        share = row.at_risk / at_risk
        expected.append(failed * share)
        if at_risk > 1:
            spread = failed * (at_risk - failed) / (at_risk - 1)
            variance.append(spread * share * (1 - share))
    return LogRank(observed, math.fsum(expected), math.fsum(variance))


def hazard_ratio(rows: Sequence[AgeRow]) -> Ratio | None:
    """Return Cox's ratio of the group to the others; None where one side has no failure.

    Newton's method on the partial likelihood with one covariate (Breslow 1974, from memory).
    """
    if not sum(row.failed for row in rows) or not sum(row.others_failed for row in rows):
        return None
    beta = 0.0
    for _step in range(STEPS_MAX):
        score, information = _score(rows, beta)
        if information <= 0:
            return None
        step = score / information
        # Half a dozen at most: a first step too far would leave the range of exp.
        beta += max(-2.0, min(2.0, step))
        if abs(step) < 1e-12:
            break
    error = 1 / math.sqrt(_score(rows, beta)[1])
    return Ratio(beta, error, always_valid_p(beta / error, error))


def _score(rows: Sequence[AgeRow], beta: float) -> tuple[float, float]:
    score, information = [], []
    times = math.exp(beta)
    for row in rows:
        failed = row.failed + row.others_failed
        whole = row.at_risk * times + row.others_at_risk
        if not failed or not whole:
            continue
        share = row.at_risk * times / whole
        score.append(row.failed - failed * share)
        information.append(failed * share * (1 - share))
    return math.fsum(score), math.fsum(information)


def always_valid_p(z: float, standard_error: float, looked_for: float = LOOKED_FOR) -> float:
    """Return a p that holds however often it is looked at: that of a mixture over normal effects.

    Λ = (1 + I)^(-1/2) exp(I / (1 + I) z² / 2) with I = τ² / se²; p = 1 / Λ, at most 1 (Robbins
    1970; Johari, Pekelis & Walsh 2017, second-hand).
    """
    information = looked_for**2 / standard_error**2
    log = information / (1 + information) * z**2 / 2 - math.log1p(information) / 2
    return min(1.0, math.exp(-log))


def holm(p_values: Sequence[float]) -> list[float]:
    """Return p-values corrected for their number, in the same order (Holm 1979, from memory)."""
    order = sorted(range(len(p_values)), key=lambda at: p_values[at])
    found, least = [0.0] * len(p_values), 0.0
    for rank, at in enumerate(order):
        least = max(least, min(1.0, (len(p_values) - rank) * p_values[at]))
        found[at] = least
    return found
