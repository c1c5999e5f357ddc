"""Returns still to come of what was sold, by the chain ladder over months of sale.

A second opinion beside the hazard forecast: it asks only that every month's sales develop alike.
Ages that few cohorts have a return by are taken together, so that each row starts above zero.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

from returns.figures.circularity.queries.judged import Missing
from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.forecast.sums.cohorts import SoldCohort
from returns.figures.forecast.sums.run_off import COHORTS_MIN, RunOff, run_off
from returns.figures.lifetimes.queries.lifetimes import Cohorts
from returns.figures.span.queries import by_index


@dataclass(frozen=True, slots=True, kw_only=True)
class SaleMonth:
    """One month of sale: returns known by each age (cumulative, from `first_age` on), and more.

    `expected` is what the method says will have come by the oldest age seen; `standard_error` is
    Mack's.
    """

    month: str
    sold: int
    known: tuple[int, ...]
    expected: float
    standard_error: float

    @property
    def outstanding(self) -> float:
        return self.expected - self.known[-1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Outstanding:
    """The ladder with its total; or what is missing for one. Ages are in months since the sale."""

    months: tuple[SaleMonth, ...] = ()
    first_age: int = 0
    last_age: int = 0
    factors: tuple[float, ...] = ()
    total: float = 0.0
    total_standard_error: float = 0.0
    left_out: tuple[str, ...] = ()
    missing: Missing | None = None


def outstanding(found: Cohorts) -> Outstanding:
    """Run off the latest unbroken row of months of sale. Reads nothing but the cohorts."""
    rows = _in_a_row(found.cohorts)
    first_age = _first_age(rows)
    used = [row for row in rows if len(row.returned_by_age) >= first_age]
    if len(used) < COHORTS_MIN:
        return _without(len(used))
    # Every row loses the ages before the first one that is looked at.
    known = [tuple(itertools.accumulate(row.returned_by_age))[first_age - 1 :] for row in used]
    try:
        made = run_off(known)
    except NotEnoughEvidence as error:
        return Outstanding(missing=Missing(of="sale months", have=error.have, need=error.need))
    except InputRefused:
        return _without(0)
    return _with_ladder(found, used, known, (first_age, made))


def _with_ladder(
    found: Cohorts,
    used: list[SoldCohort],
    known: list[tuple[int, ...]],
    made: tuple[int, RunOff],
) -> Outstanding:
    first_age, ladder = made
    months = tuple(
        SaleMonth(
            month=str(by_index(row.month)),
            sold=row.sold,
            known=counts,
            expected=ultimate,
            standard_error=error,
        )
        for row, counts, ultimate, error in zip(
            used, known, ladder.ultimates, ladder.standard_errors, strict=True
        )
    )
    kept = {row.month for row in used}
    return Outstanding(
        months=months,
        first_age=first_age,
        last_age=first_age + len(known[0]) - 1,
        factors=ladder.factors,
        total=sum(month.outstanding for month in months),
        total_standard_error=ladder.total_standard_error,
        left_out=tuple(str(by_index(c.month)) for c in found.cohorts if c.month not in kept),
    )


def _in_a_row(cohorts: tuple[SoldCohort, ...]) -> list[SoldCohort]:
    """Return the latest cohorts without a gap in the months of sale."""
    kept: list[SoldCohort] = []
    for row in reversed([cohort for cohort in cohorts if cohort.returned_by_age]):
        # A triangle loses one age a row: a month without sales would leave a step that is two ages
        # high.
        if kept and row.month != kept[-1].month - 1:
            break
        kept.append(row)
    return kept[::-1]


def _first_age(rows: list[SoldCohort]) -> int:
    """Return the first age by which every cohort old enough had a return, and that even the
    youngest has lived: where nothing was sold of late, it has several."""
    lived = [len(row.returned_by_age) for row in rows] or [1]
    oldest = max(lived)
    return next(
        (
            age
            for age in range(min(lived), oldest + 1)
            # A row must start above zero: the factor to the next age is a quotient of what stands
            # here.
            if all(
                sum(row.returned_by_age[:age]) for row in rows if len(row.returned_by_age) >= age
            )
        ),
        oldest,
    )


def _without(have: int) -> Outstanding:
    return Outstanding(missing=Missing(of="sale months", have=have, need=COHORTS_MIN))
