"""What will come back next year, month by month, from what was sold and what came back so far.

Hazards by age are pooled over cohorts and applied only to units still out there. Limits come from
a seeded simulation of three things: what the counts leave open of each hazard (beta), the counts
to come (binomial), and a drift that all ages share, because cohorts differ and the oldest ages
are not seen yet. How far the level drifts is learned from the forecast's own past misses.
Only a unit's first return counts: a mended frame sent out again is a new start, not still out.
`run_off` holds a second, simpler method.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.forecast.sums.cohorts import (
    RETURNS_MIN,
    TAIL_AGES,
    SoldCohort,
    expected_returns,
    hazard_table,
    observed_hazards,
)
from returns.figures.forecast.sums.drift import MISS_MONTHS, drift_of, misses
from returns.figures.lifetimes.sums.lifetimes import AgeHazard

if TYPE_CHECKING:
    from numpy import float64, int64
    from numpy.random import Generator
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthForecast:
    """Units expected in one month, the simulated variance, and whole-unit limits."""

    month: int
    expected: float
    variance: float
    low: int
    high: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """A year (or other span) of months, its total, and what it rests on.

    `drift` is the relative standard deviation by which the level moves from month to month.
    """

    as_of: int
    months: tuple[MonthForecast, ...]
    total: MonthForecast
    coverage: float
    drift: float
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
    drift: float | None = None,
) -> Forecast:
    """Forecast returns after month `as_of`; raise NotEnoughEvidence on fewer than `returns_min`.

    The point is the expectation under the pooled hazards. Beyond the oldest age seen, the pooled
    hazard of the last six ages carries on. The same seed and input give the same limits. Without
    a `drift` it is learned from the misses so far.
    """
    import numpy as np

    known = tuple(cohorts)
    _refuse_span(known, as_of=as_of, months=months, coverage=coverage)
    observed = observed_hazards(known, returns_min)
    table = hazard_table(observed)
    rng = np.random.default_rng(seed)
    # Hazards, levels, counts: the order in which they are drawn is part of the seed. Another order
    # would move every published limit without any new data.
    drawn = _draw_hazards(rng, observed, draws)
    if drift is None:
        drift = drift_of(misses(known, as_of=as_of))
    levels = _levels(rng, drift, (draws, months))
    counts = _simulate(rng, known, (drawn, levels), as_of)
    expected = expected_returns(known, table, as_of=as_of, months=months)
    rows = [
        _month(as_of + 1 + k, expected[k], counts[:, k], coverage=coverage) for k in range(months)
    ]
    # The limits of the total come from the totals drawn: adding the limits of the months would take
    # it that all go wrong the same way at once.
    total = _month(as_of + months, math.fsum(expected), counts.sum(axis=1), coverage=coverage)
    return Forecast(
        as_of=as_of,
        months=tuple(rows),
        total=total,
        coverage=coverage,
        drift=drift,
        seed=seed,
        draws=draws,
    )


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


def added(one: Sequence[MonthMass], other: Sequence[MonthMass]) -> tuple[MonthMass, ...]:
    """Add two forecasts of the same months, limits to limits: they are wider than need be, as if
    both went wrong the same way at once."""
    return tuple(
        MonthMass(
            month=a.month,
            expected_mg=a.expected_mg + b.expected_mg,
            low_mg=a.low_mg + b.low_mg,
            high_mg=a.high_mg + b.high_mg,
        )
        for a, b in zip(one, other, strict=True)
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
    def covered(self) -> int:
        """How many months had returns within the limits; compare with `coverage` of all rows."""
        return sum(row.is_covered for row in self.rows)

    @property
    def mean_error(self) -> float:
        """Mean of forecast less actual, in units: above 0 means forecasts were too high."""
        return math.fsum(r.forecast.expected - r.actual for r in self.rows) / len(self.rows)


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
    # Once, far enough back for the earliest month; each month then takes only what was known to it.
    missed = misses(known, as_of=as_of, reach=MISS_MONTHS + months + lead)
    rows: list[BackTestRow] = []
    for month in range(as_of - months + 1, as_of + 1):
        made_at = month - lead
        # A forecast may learn its drift only from months that had come when it was made.
        seen = [m for m in missed if m.month - m.lead >= made_at - MISS_MONTHS]
        drift = drift_of([m for m in seen if m.month <= made_at])
        then = [c.as_known(at_month=made_at) for c in known if c.month < month]
        try:
            made = forecast(
                then,
                as_of=made_at,
                months=lead,
                coverage=coverage,
                seed=seed,
                draws=1000,
                drift=drift,
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
    # Posterior of a binomial hazard: beta(failed + p, at risk - failed + 1 - p).
    return rng.beta(failed + pooled, at_risk - failed + 1 - pooled, size=(draws, len(failed)))


def _levels(rng: Generator, drift: float, shape: tuple[int, int]) -> NDArray[float64]:
    """Return draws by month of a level that wanders from 1 by lognormal steps of mean 1."""
    import numpy as np

    # The mean of a lognormal is exp(mu + d ** 2 / 2): the shift holds it at 1, so the drift adds
    # spread and no trend.
    steps = rng.normal(-(drift**2) / 2, drift, size=shape)
    return np.exp(np.cumsum(steps, axis=1))


def _simulate(
    rng: Generator,
    cohorts: Sequence[SoldCohort],
    drawn: tuple[NDArray[float64], NDArray[float64]],
    as_of: int,
) -> NDArray[int64]:
    import numpy as np

    hazards, levels = drawn
    draws, tail = hazards.shape[0], hazards.shape[1] - 1
    counts = np.zeros(levels.shape, dtype=np.int64)
    for cohort in cohorts:
        still_out = np.full(draws, cohort.still_out)
        for ahead in range(levels.shape[1]):
            age = as_of + 1 + ahead - cohort.month
            if age >= 1:
                # One draw of hazards and levels holds for all cohorts: what is wrong of one is
                # wrong of all. The level can lift a chance above 1, which a binomial refuses.
                chance = np.minimum(1.0, hazards[:, min(age - 1, tail)] * levels[:, ahead])
                coming = rng.binomial(still_out, chance)
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
        # Outward to whole units, and never so narrow that the expectation lies outside its own
        # limits.
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
