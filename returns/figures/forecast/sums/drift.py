"""How far the level of returns drifts beyond what counting explains, from a forecast's own misses.

Cohorts differ, the oldest ages are not seen yet, habits change: all of it shows in how far past
forecasts missed. The level is taken to wander by a lognormal step each month.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from returns.figures.claims.sums.claims import NotEnoughEvidence
from returns.figures.forecast.sums.cohorts import (
    TAIL_AGES,
    SoldCohort,
    hazard_table,
    observed_hazards,
)
from returns.figures.lifetimes.sums.lifetimes import AgeHazard

# The workshop's own choices. Before there are misses: a tenth a month, worth twelve misses.
DRIFT_AT_FIRST = 0.1
MISSES_AT_FIRST = 12
MISS_LEADS = 3
MISS_MONTHS = 24


@dataclass(frozen=True, slots=True, kw_only=True)
class Miss:
    """A month that came, against what had been expected of it `lead` months before.

    `variance` is what counting and the hazards' own uncertainty explain of the distance.
    """

    month: int
    lead: int
    expected: float
    variance: float
    actual: int


def misses(
    cohorts: Iterable[SoldCohort], *, as_of: int, reach: int = MISS_MONTHS
) -> tuple[Miss, ...]:
    """Hold forecasts one to three months ahead, of the last `reach` months, against what came.

    Each uses only what was known when it was made, sales in between apart.
    """
    known = tuple(cohorts)
    first = min((cohort.month for cohort in known), default=as_of)
    found: list[Miss] = []
    for made_at in range(max(first, as_of - reach), as_of):
        past = [c.as_known(at_month=made_at) for c in known if c.month <= made_at]
        try:
            observed = observed_hazards(past)
        except NotEnoughEvidence:
            continue
        for lead in range(1, min(MISS_LEADS, as_of - made_at) + 1):
            month = made_at + lead
            # What was sold after the forecast was made counts as planned sales: its returns are cut
            # off, not its units. Otherwise a growing workshop would look like one whose level
            # drifts.
            then = [c.as_known(at_month=made_at) for c in known if c.month < month]
            expected, variance = _expected_and_variance(then, observed, (made_at, lead))
            actual = sum(cohort.returned_in(month) for cohort in known)
            found.append(
                Miss(month=month, lead=lead, expected=expected, variance=variance, actual=actual)
            )
    return tuple(found)


def drift_of(found: Sequence[Miss]) -> float:
    """Return the drift a month, as a relative standard deviation, by the method of moments.

    Derived: a level that drifts by d a month has moved by d^2 * lead in variance, so
    (actual - expected)^2 is on average variance + d^2 * lead * expected^2. Sums over the misses,
    with `MISSES_AT_FIRST` imagined ones at `DRIFT_AT_FIRST` beside them, give d.
    """
    weights = [miss.lead * miss.expected**2 for miss in found]
    # The imagined misses weigh as much as an average real one, so a few real ones do not swing the
    # drift.
    imagined = MISSES_AT_FIRST * (math.fsum(weights) / len(weights) if math.fsum(weights) else 1.0)
    # May be below zero where forecasts missed by less than counting explains; the root is held at
    # zero.
    beyond = math.fsum((miss.actual - miss.expected) ** 2 - miss.variance for miss in found)
    square = (imagined * DRIFT_AT_FIRST**2 + beyond) / (imagined + math.fsum(weights))
    return math.sqrt(max(0.0, square))


def _expected_and_variance(
    cohorts: Sequence[SoldCohort], observed: Sequence[AgeHazard], ahead: tuple[int, int]
) -> tuple[float, float]:
    """Return both for the last month ahead. Variance: that of counts (Poisson) and of hazards."""
    as_of, lead = ahead
    table = hazard_table(observed)
    out_by_age: defaultdict[int, float] = defaultdict(float)
    for cohort in cohorts:
        age = as_of + lead - cohort.month
        out = float(cohort.still_out)
        # The months between the making and the month meant have taken their share of the units by
        # then.
        for passed in range(max(1, age - lead + 1), age):
            out *= 1 - table.at(passed)
        # All ages beyond the oldest seen share the tail's hazard, so their errors are one and not
        # many.
        out_by_age[min(age, len(observed) + 1)] += out
    expected = math.fsum(out * table.at(age) for age, out in out_by_age.items())
    seen = [row.at_risk for row in observed]
    seen.append(sum(seen[-TAIL_AGES:]))
    unsure = math.fsum(
        out**2 * table.at(age) * (1 - table.at(age)) / (seen[age - 1] + 1)
        for age, out in out_by_age.items()
    )
    # A Poisson count has its mean for a variance.
    return expected, expected + unsure
