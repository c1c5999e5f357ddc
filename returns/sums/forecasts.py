"""What will come back next year, month by month, from what was sold and what came back so far.

Hazards by age are pooled over cohorts and applied only to units still out there. Intervals come
from a seeded simulation of both the hazards' uncertainty (beta) and the counts themselves
(binomial); shocks common to a whole month are not modelled, so a back-test judges the coverage.
Only a unit's first return counts: a mended frame sent out again is a new start, not still out.
`run_off` holds a second, simpler method.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from returns.sums.claims import InputRefused, NotEnoughEvidence
from returns.sums.lifetimes import AgedCohort, AgeHazard, age_hazards
from returns.sums.spares import Demand

if TYPE_CHECKING:
    from numpy import float64, int64
    from numpy.random import Generator
    from numpy.typing import NDArray

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


def lagged_returns(
    sold: Sequence[float], shares_by_lag: Sequence[float], *, months: int
) -> tuple[float, ...]:
    """Return R_t = sum over k of sold[t - k] * share[k] for `months` months, lag 0 first."""
    if any(share < 0 for share in shares_by_lag) or math.fsum(shares_by_lag) > 1 + 1e-9:
        raise InputRefused("Shares by lag must not be negative and must not sum to more than 1.")
    return tuple(
        math.fsum(
            sold[month - lag] * share
            for lag, share in enumerate(shares_by_lag)
            if 0 <= month - lag < len(sold)
        )
        for month in range(months)
    )


def expected_returns(
    cohorts: Iterable[SoldCohort], hazards: HazardTable, *, as_of: int, months: int = 12
) -> tuple[float, ...]:
    """Return expected returns in each month after `as_of`, from units still out there only."""
    totals = [0.0] * months
    for cohort in cohorts:
        still_out = float(cohort.still_out)
        for ahead in range(months):
            age = as_of + 1 + ahead - cohort.month
            if age >= 1:
                coming = still_out * hazards.at(age)
                totals[ahead] += coming
                still_out -= coming
    return tuple(totals)


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthForecast:
    """Units expected in one month, the simulated variance, and whole-unit limits."""

    month: int
    expected: float
    variance: float
    low: int
    high: int

    @property
    def demand(self) -> Demand:
        """The month as a demand for stock sums: same mean, dispersion from the simulation."""
        ratio = self.variance / self.expected if self.expected > 0 else 1.0
        return Demand(mean=self.expected, dispersion=max(1.0, ratio))


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """A year (or other span) of months, its total, and what it rests on."""

    as_of: int
    months: tuple[MonthForecast, ...]
    total: MonthForecast
    coverage: float
    returns_seen: int
    seed: int
    draws: int


def forecast(
    cohorts: Iterable[SoldCohort],
    *,
    as_of: int,
    months: int = 12,
    coverage: float = 0.9,
    seed: int,
    draws: int = 2000,
    returns_min: int = RETURNS_MIN,
) -> Forecast:
    """Forecast returns after month `as_of`; raise NotEnoughEvidence on fewer than `returns_min`.

    The point is the expectation under the pooled hazards. Beyond the oldest age seen, the pooled
    hazard of the last six ages carries on. The same seed and input give the same limits.
    """
    import numpy as np

    known = tuple(cohorts)
    _refuse_span(known, as_of=as_of, months=months, coverage=coverage)
    observed = _observed(known, returns_min)
    table = hazard_table(observed)
    rng = np.random.default_rng(seed)
    drawn = _draw_hazards(rng, observed, draws)
    counts = _simulate(rng, known, drawn, (as_of, months))
    expected = expected_returns(known, table, as_of=as_of, months=months)
    rows = [
        _month(as_of + 1 + k, expected[k], counts[:, k], coverage=coverage) for k in range(months)
    ]
    total = _month(as_of + months, math.fsum(expected), counts.sum(axis=1), coverage=coverage)
    return Forecast(
        as_of=as_of,
        months=tuple(rows),
        total=total,
        coverage=coverage,
        returns_seen=sum(row.failed for row in observed),
        seed=seed,
        draws=draws,
    )


def hazard_table(observed: Sequence[AgeHazard]) -> HazardTable:
    """Return the pooled hazards with a tail pooled over the last six ages."""
    last = observed[-TAIL_AGES:]
    tail = sum(row.failed for row in last) / sum(row.at_risk for row in last)
    return HazardTable(tuple(row.hazard for row in observed), tail)


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthMass:
    """Mass in milligrams expected in a month, with limits."""

    month: int
    expected_mg: int
    low_mg: int
    high_mg: int


def mass_by_colour(
    forecasts: Mapping[str, Forecast], frame_mass_mg: Mapping[str, int]
) -> dict[str, tuple[MonthMass, ...]]:
    """Return the frame mass expected per colour and month from one forecast per colour."""
    missing = sorted(set(forecasts) - set(frame_mass_mg))
    if missing:
        raise InputRefused(f"Give the frame mass of {', '.join(missing)} in milligrams.")
    return {
        colour: tuple(_mass(month, frame_mass_mg[colour]) for month in made.months)
        for colour, made in forecasts.items()
    }


def screw_demand(requests: Forecast, *, screws_per_request: int) -> tuple[Demand, ...]:
    """Return the monthly demand for screws when each request takes a fixed number of them."""
    if screws_per_request < 1:
        raise InputRefused("A request takes at least one screw.")
    return tuple(
        Demand(
            mean=month.demand.mean * screws_per_request,
            dispersion=month.demand.dispersion * screws_per_request,
        )
        for month in requests.months
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class BackTestRow:
    """One month forecast `lead` months before, against what came."""

    made_at: int
    forecast: MonthForecast
    actual: int

    @property
    def is_covered(self) -> bool:
        """Whether what came lies within the limits."""
        return self.forecast.low <= self.actual <= self.forecast.high


@dataclass(frozen=True, slots=True, kw_only=True)
class BackTest:
    """Forecasts made `lead` months ahead against what came, oldest first."""

    rows: tuple[BackTestRow, ...]
    lead: int
    coverage: float

    @property
    def covered_share(self) -> float:
        """Share of months whose return count fell within the limits; compare with `coverage`."""
        return sum(row.is_covered for row in self.rows) / len(self.rows)

    @property
    def mean_error(self) -> float:
        """Mean of forecast less actual, in units: above 0 means forecasts were too high."""
        return math.fsum(r.forecast.expected - r.actual for r in self.rows) / len(self.rows)

    @property
    def mean_absolute_error(self) -> float:
        """Mean distance between forecast and actual, in units."""
        return math.fsum(abs(r.forecast.expected - r.actual) for r in self.rows) / len(self.rows)


def back_test(
    cohorts: Iterable[SoldCohort],
    *,
    as_of: int,
    lead: int = 3,
    months: int = 12,
    seed: int,
    coverage: float = 0.9,
) -> BackTest:
    """Repeat the forecast as of `lead` months before each of the last `months` months.

    Only what was known then is used, except that sales made in between count as planned. Months
    whose evidence was too thin then are left out; NotEnoughEvidence if that leaves none.
    """
    known = tuple(cohorts)
    rows: list[BackTestRow] = []
    for month in range(as_of - months + 1, as_of + 1):
        made_at = month - lead
        then = [c.as_known(at_month=made_at) for c in known if c.month < month]
        try:
            made = forecast(
                then, as_of=made_at, months=lead, coverage=coverage, seed=seed, draws=1000
            )
        except NotEnoughEvidence:
            continue
        actual = sum(cohort.returned_in(month) for cohort in known)
        rows.append(BackTestRow(made_at=made_at, forecast=made.months[-1], actual=actual))
    if not rows:
        raise NotEnoughEvidence(of="months with a forecast", have=0, need=1)
    return BackTest(rows=tuple(rows), lead=lead, coverage=coverage)


def _refuse_span(
    cohorts: Sequence[SoldCohort], *, as_of: int, months: int, coverage: float
) -> None:
    if months < 1 or not 0 < coverage < 1:
        raise InputRefused("Forecast at least one month, with a coverage between 0 and 1.")
    for cohort in cohorts:
        lived = max(0, as_of - cohort.month)
        if len(cohort.returned_by_age) != lived:
            raise InputRefused(
                f"The cohort of month {cohort.month} needs {lived} months of returns, one per "
                f"month up to {as_of}, and holds {len(cohort.returned_by_age)}."
            )


def _observed(cohorts: Sequence[SoldCohort], returns_min: int) -> tuple[AgeHazard, ...]:
    aged = [AgedCohort(c.sold, c.returned_by_age) for c in cohorts if c.returned_by_age]
    return age_hazards(aged, failures_min=max(1, returns_min))


def _draw_hazards(rng: Generator, observed: Sequence[AgeHazard], draws: int) -> NDArray[float64]:
    """Return draws by age (tail last) from beta posteriors.

    The prior is worth one unit at the pooled hazard, so ages without returns keep some spread.
    """
    import numpy as np

    last = observed[-TAIL_AGES:]
    failed = np.array([row.failed for row in observed] + [sum(row.failed for row in last)])
    at_risk = np.array([row.at_risk for row in observed] + [sum(row.at_risk for row in last)])
    pooled = failed[:-1].sum() / at_risk[:-1].sum()
    # A beta needs both parameters above 0, also where every unit of the data came back.
    pooled = min(max(pooled, 1e-9), 1 - 1e-9)
    return rng.beta(failed + pooled, at_risk - failed + 1 - pooled, size=(draws, len(failed)))


def _simulate(
    rng: Generator,
    cohorts: Sequence[SoldCohort],
    hazards: NDArray[float64],
    span: tuple[int, int],
) -> NDArray[int64]:
    import numpy as np

    as_of, months = span
    draws, tail = hazards.shape[0], hazards.shape[1] - 1
    counts = np.zeros((draws, months), dtype=np.int64)
    for cohort in cohorts:
        still_out = np.full(draws, cohort.still_out)
        for ahead in range(months):
            age = as_of + 1 + ahead - cohort.month
            if age >= 1:
                coming = rng.binomial(still_out, hazards[:, min(age - 1, tail)])
                counts[:, ahead] += coming
                still_out -= coming
    return counts


def _month(
    month: int, expected: float, counts: NDArray[int64], *, coverage: float
) -> MonthForecast:
    import numpy as np

    low, high = np.quantile(counts, ((1 - coverage) / 2, (1 + coverage) / 2))
    return MonthForecast(
        month=month,
        expected=expected,
        variance=float(counts.var()),
        low=min(math.floor(low), math.floor(expected)),
        high=max(math.ceil(high), math.ceil(expected)),
    )


def _mass(month: MonthForecast, frame_mass_mg: int) -> MonthMass:
    if frame_mass_mg <= 0:
        raise InputRefused("A frame needs a mass above 0 mg.")
    return MonthMass(
        month=month.month,
        expected_mg=round(month.expected * frame_mass_mg),
        low_mg=month.low * frame_mass_mg,
        high_mg=month.high * frame_mass_mg,
    )
