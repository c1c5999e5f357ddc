"""Units by month of sale, the chance of coming back at each age, and what is expected of both."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from returns.figures.claims.sums.claims import InputRefused
from returns.figures.lifetimes.sums.lifetimes import AgedCohort, AgeHazard, age_hazards

# The workshop's own choices.
RETURNS_MIN = 5
TAIL_AGES = 6


@dataclass(frozen=True, slots=True)
class SoldCohort:
    """Units sold in one month and what came back of them since.

    `month` is a running month number (year * 12 + month - 1). `returned_by_age[k - 1]` came back in
    month `month` + k; what came back in the month of sale itself is booked at age 1. A month still
    to come holds planned sales and no returns.
    """

    month: int
    sold: int
    returned_by_age: tuple[int, ...] = ()

    def __post_init__(self) -> None:
        # Made only for its checks: counts below zero, or more returns than sales, are refused
        # there.
        AgedCohort(self.sold, self.returned_by_age)

    @property
    def still_out(self) -> int:
        """Units that have not come back yet."""
        return self.sold - sum(self.returned_by_age)

    def as_known(self, *, at_month: int) -> SoldCohort:
        """Return the cohort as it was known at the end of an earlier month."""
        lived = max(0, at_month - self.month)
        return SoldCohort(self.month, self.sold, self.returned_by_age[:lived])

    def returned_in(self, month: int) -> int:
        """Return how many came back in one month, 0 where none are recorded."""
        index = month - self.month - 1
        return self.returned_by_age[index] if 0 <= index < len(self.returned_by_age) else 0


@dataclass(frozen=True, slots=True)
class HazardTable:
    """Chance of coming back in each month of age, age 1 first, and beyond the ages observed."""

    by_age: tuple[float, ...]
    tail: float

    def __post_init__(self) -> None:
        if any(not 0 <= hazard <= 1 for hazard in (*self.by_age, self.tail)):
            raise InputRefused("A hazard must lie between 0 and 1.")

    def at(self, age: int) -> float:
        """Return the hazard of an age of 1 or more."""
        return self.by_age[age - 1] if age <= len(self.by_age) else self.tail

    @property
    def shares(self) -> tuple[float, ...]:
        """Share of a cohort that comes back at each age: hazard times the part still out."""
        shares, still_out = [], 1.0
        for hazard in self.by_age:
            shares.append(still_out * hazard)
            still_out *= 1 - hazard
        return tuple(shares)


def expected_returns(
    units: Iterable[tuple[int, float]],
    hazards: HazardTable,
    *,
    as_of: int,
    times: Sequence[float],
) -> tuple[float, ...]:
    """Return expected returns in each month after `as_of`, from units out there by month of sale.

    `times` is what multiplies the hazards in each of the months.
    """
    totals = [0.0] * len(times)
    for sold_in, out in units:
        # Applied to what is still out month after month, so that no more can come back than was
        # sold.
        still_out = out
        for ahead, factor in enumerate(times):
            age = as_of + 1 + ahead - sold_in
            if age >= 1:
                coming = still_out * min(1.0, hazards.at(age) * factor)
                totals[ahead] += coming
                still_out -= coming
    return tuple(totals)


def observed_hazards(
    cohorts: Sequence[SoldCohort], returns_min: int = RETURNS_MIN
) -> tuple[AgeHazard, ...]:
    """Return the hazards pooled over cohorts; NotEnoughEvidence on fewer than `returns_min`."""
    aged = [AgedCohort(c.sold, c.returned_by_age) for c in cohorts if c.returned_by_age]
    return age_hazards(aged, failures_min=max(1, returns_min))
