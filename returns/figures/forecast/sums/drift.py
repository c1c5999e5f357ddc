"""At which level returns come now, and how far it drifts, from a forecast's own past misses.

Cohorts differ, the oldest ages are not seen yet, habits change: all of it shows in how far past
forecasts missed. The level is taken to wander about 1 and to return to it slowly (a first-order
autoregression); where it stands now, and by how much it moves, is worked out together, by a Kalman
filter for each of several drifts and their weights by Bayes' rule.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from returns.figures.forecast.sums.cohorts import RETURNS_MIN, TAIL_AGES, SoldCohort
from returns.figures.forecast.sums.seasons import Cells, Fit, counted

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

# The workshop's own choices: drifts thought possible, how likely at first (exponential of this
# mean), how much of a deviation is left a month later, how far back misses count.
DRIFTS = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6)
DRIFT_AT_FIRST = 0.1
STAYS = 0.9
MISS_MONTHS = 24
# Fewer than this many expected say nothing of a level: their ratio would.
EXPECTED_MIN = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Miss:
    """A month that came, against what had been expected of it the month before.

    `variance` is what counting and the hazards' own uncertainty explain of the distance.
    """

    month: int
    expected: float
    variance: float
    actual: int


@dataclass(frozen=True, slots=True)
class Level:
    """How far returns lie off what the hazards say, as a share, now; with its variance and drift.

    `drift` is the relative standard deviation by which it moves from month to month.
    """

    off: float = 0.0
    variance: float = 0.0
    drift: float = 0.0

    def at(self, ahead: int) -> float:
        """Return the level to expect so many months ahead."""
        return max(0.0, 1 + STAYS**ahead * self.off)


def misses(
    cohorts: Iterable[SoldCohort], *, as_of: int, reach: int = MISS_MONTHS
) -> tuple[Miss, ...]:
    """Hold forecasts one month ahead, of the last `reach` months, against what came.

    Each uses only what was known when it was made: what is sold later cannot come back by then.
    """
    known = [cohort for cohort in cohorts if cohort.month <= as_of]
    first = min((cohort.month for cohort in known), default=as_of)
    cells = Cells(known)
    return tuple(
        missed
        for made_at in range(max(first, as_of - reach), as_of)
        if (missed := _miss(cells, known, made_at)) is not None
    )


def _miss(cells: Cells, known: Sequence[SoldCohort], made_at: int) -> Miss | None:
    fit = cells.fit(made_at)
    if fit is None or fit.failed.sum() < RETURNS_MIN:
        return None
    coming = cells.month == made_at + 1
    # The cells of the month after hold just who was out there at its beginning.
    out = counted(cells.age[coming], cells.at_risk[coming])
    expected, variance = _expected_and_variance(fit, out, made_at + 1)
    actual = sum(cohort.returned_in(made_at + 1) for cohort in known)
    return Miss(month=made_at + 1, expected=expected, variance=variance, actual=actual)


def _expected_and_variance(fit: Fit, out: NDArray[np.float64], month: int) -> tuple[float, float]:
    """Return both for units by age (age 0 first). Variance: that of counts and of hazards."""
    table, seen = fit.table, fit.at_risk
    factor = fit.factor(month)
    expected = unsure = 0.0
    beyond = float(out[len(seen) + 1 :].sum())
    tail_seen = float(seen[-TAIL_AGES:].sum())
    by_age = [(float(n), table.at(age), float(seen[age - 1])) for age, n in _seen(out, len(seen))]
    # All ages beyond the oldest seen share the tail's hazard, so their errors are one and not many.
    for units, hazard, at_risk in (*by_age, (beyond, table.tail, tail_seen)):
        expected += units * hazard * factor
        unsure += (units * factor) ** 2 * hazard * (1 - hazard) / (at_risk + 1)
    # A Poisson count has its mean for a variance.
    return expected, expected + unsure


def _seen(out: NDArray[np.float64], oldest: int) -> list[tuple[int, float]]:
    return [(age, float(n)) for age, n in enumerate(out[: oldest + 1]) if age and n]


def level_of(found: Iterable[Miss]) -> Level:
    """Return where the level stands after the last of these misses, oldest first."""
    told = [miss for miss in found if miss.expected >= EXPECTED_MIN]
    runs = [_filtered(told, drift) for drift in DRIFTS]
    logs = [run[2] - drift / DRIFT_AT_FIRST for run, drift in zip(runs, DRIFTS, strict=True)]
    top = max(logs)
    weights = [math.exp(log - top) for log in logs]
    whole = math.fsum(weights)
    shares = [weight / whole for weight in weights]
    off = math.fsum(share * run[0] for share, run in zip(shares, runs, strict=True))
    variance = math.fsum(
        share * (run[1] + (run[0] - off) ** 2) for share, run in zip(shares, runs, strict=True)
    )
    drift = math.sqrt(math.fsum(s * d**2 for s, d in zip(shares, DRIFTS, strict=True)))
    return Level(off, variance, drift)


def _filtered(found: Sequence[Miss], drift: float) -> tuple[float, float, float]:
    """Return state, its variance and the log-likelihood of the misses, for one drift."""
    # It starts where a level that wanders so for ever would be.
    off, variance, log = 0.0, drift**2 / (1 - STAYS**2), 0.0
    last = found[0].month - 1 if found else 0
    for miss in found:
        for _month in range(miss.month - last):
            off, variance = STAYS * off, STAYS**2 * variance + drift**2
        last = miss.month
        noise = miss.variance / miss.expected**2
        spread = variance + noise
        gap = miss.actual / miss.expected - 1 - off
        log -= 0.5 * (gap**2 / spread + math.log(spread))
        gain = variance / spread
        off, variance = off + gain * gap, (1 - gain) * variance
    return off, variance, log
