"""What will come back next year, month by month, from what was sold, will be, and came back so far.

Hazards by age are pooled over cohorts, with a factor for the month of the year once two years
exist, and applied only to units still out there, those of sales to come among them. Limits come
from a seeded simulation of what is not known: what the counts leave open of each hazard (beta) and
factor, how much will be sold (negative binomial), the counts to come (binomial), and a level that
all ages share and that wanders, because cohorts differ and the oldest ages are not seen yet. Where
that level stands and how far it wanders is learned from the forecast's own past misses. Only a
unit's first return counts: a mended frame sent out again is a new start, not still out. `run_off`
holds a second, simpler method.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.forecast.sums.cohorts import (
    RETURNS_MIN,
    TAIL_AGES,
    SoldCohort,
    expected_returns,
    observed_hazards,
)
from returns.figures.forecast.sums.drift import (
    MISS_MONTHS,
    STAYS,
    Level,
    level_of,
    misses,
)
from returns.figures.forecast.sums.projection import Sales, project
from returns.figures.forecast.sums.seasons import YEAR, Cells, Fit

if TYPE_CHECKING:
    from numpy import float64, int64
    from numpy.random import Generator
    from numpy.typing import NDArray


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthForecast:
    """Units expected in one month, the simulated variance, and whole-unit limits.

    `from_sold` is the part of what is expected that comes from what is sold already; the rest comes
    from sales still to come.
    """

    month: int
    expected: float
    from_sold: float
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

    The point is the expectation under the pooled hazards, at the level that returns come at now.
    Beyond the oldest age seen, the pooled hazard of the last six ages carries on. Sales to come are
    projected from the sales so far; cohorts of months to come are planned sales and go before.
    The same seed and input give the same limits. Without a `drift` level and drift are learned from
    the misses so far; with one, the level is what the hazards say.
    """
    known = tuple(cohorts)
    _refuse_span(known, as_of=as_of, months=months, coverage=coverage)
    # Asked for its refusal: it says what is missing.
    observed_hazards(known, returns_min)
    level = level_of(misses(known, as_of=as_of)) if drift is None else Level(drift=drift)
    made = _Made(known, as_of, months, level)
    return made.forecast(coverage=coverage, seed=seed, draws=draws)


class _Made:
    """What a forecast rests on, worked out once: hazards, level, and sales to come."""

    def __init__(self, known: Sequence[SoldCohort], as_of: int, months: int, level: Level) -> None:
        fit = Cells(cohort for cohort in known if cohort.month <= as_of).fit(as_of)
        if fit is None:
            raise NotEnoughEvidence(of="months", have=0, need=1)
        self.fit, self.level, self.as_of, self.months = fit, level, as_of, months
        self.sold = [cohort for cohort in known if cohort.month <= as_of]
        self.planned = {c.month: float(c.sold) for c in known if c.month > as_of}
        self.sales = _projected(self.sold, as_of, months)

    def forecast(self, *, coverage: float, seed: int, draws: int) -> Forecast:
        import numpy as np

        rng = np.random.default_rng(seed)
        counts = self._simulate(rng, draws)
        from_sold, from_sales = self._expected()
        rows = [
            _month(
                self.as_of + 1 + k,
                (from_sold[k] + from_sales[k], from_sold[k]),
                counts[:, k],
                coverage=coverage,
            )
            for k in range(self.months)
        ]
        # The limits of the total come from the totals drawn: adding the limits of the months would
        # take it that all go wrong the same way at once.
        total = _month(
            self.as_of + self.months,
            (math.fsum((*from_sold, *from_sales)), math.fsum(from_sold)),
            counts.sum(axis=1),
            coverage=coverage,
        )
        return Forecast(
            as_of=self.as_of,
            months=tuple(rows),
            total=total,
            coverage=coverage,
            drift=self.level.drift,
            seed=seed,
            draws=draws,
        )

    def _expected(self) -> tuple[list[float], list[float]]:
        """Return what is expected of each month from what is sold, and from sales to come."""
        ahead = range(1, self.months + 1)
        times = [self.fit.factor(self.as_of + k) * self.level.at(k) for k in ahead]
        still = [(cohort.month, float(cohort.still_out)) for cohort in self.sold]
        coming = [(self.as_of + k, self._sale(k)) for k in ahead]
        of_sold, of_sales = (
            expected_returns(units, self.fit.table, as_of=self.as_of, times=times)
            for units in (still, coming)
        )
        return list(of_sold), list(of_sales)

    def _sale(self, ahead: int) -> float:
        month = self.as_of + ahead
        # Where the owner plans at all, her plan stands for every month to come.
        return self.planned.get(month, 0.0) if self.planned else self.sales.expected[ahead - 1]

    def _simulate(self, rng: Generator, draws: int) -> NDArray[int64]:
        # Hazards, levels, factors, sales, counts: the order in which they are drawn is part of the
        # seed. Another order would move every published limit without any new data.
        hazards = _draw_hazards(rng, self.fit, draws)
        times = _levels(rng, self.level, (draws, self.months))
        times *= _draw_factors(rng, self.fit, self.as_of, (draws, self.months))
        units = [(cohort.month, _same(cohort.still_out, draws)) for cohort in self.sold]
        units += self._draw_sales(rng, draws)
        return _counts(rng, units, (hazards, times), self.as_of)

    def _draw_sales(self, rng: Generator, draws: int) -> list[tuple[int, NDArray[int64]]]:
        ahead = range(1, self.months)
        if self.planned:
            return [(self.as_of + k, _same(round(self._sale(k)), draws)) for k in ahead]
        sd = self.sales.level_sd
        level = rng.lognormal(-(sd**2) / 2, sd, draws)
        return [
            (self.as_of + k, _negative_binomial(rng, level * self._sale(k), self.sales.dispersion))
            for k in ahead
        ]


def _projected(sold: Sequence[SoldCohort], as_of: int, months: int) -> Sales:
    by_month = Counter[int]()
    for cohort in sold:
        by_month[cohort.month] += cohort.sold
    # Months without a sale count as none: a shop that stopped selling will not start again.
    return project([by_month[month] for month in range(min(by_month), as_of + 1)], months)


def _same(units: int, draws: int) -> NDArray[int64]:
    import numpy as np

    return np.full(draws, units, dtype=np.int64)


def _negative_binomial(rng: Generator, mean: NDArray[float64], dispersion: float) -> NDArray[int64]:
    """Draw counts whose variance is `dispersion` times their mean; Poisson at 1."""
    if dispersion <= 1:
        return rng.poisson(mean)
    # A Poisson count whose mean is drawn from a gamma of that spread is negative binomial.
    return rng.poisson(rng.gamma(mean / (dispersion - 1) + 1e-12, dispersion - 1))


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

    Only what was known then is used: of sales made in between no more than could be projected.
    Months whose evidence was too thin then are left out; NotEnoughEvidence if that leaves none.
    """
    known = tuple(cohorts)
    # Once, far enough back for the earliest month; each month then takes only what was known to it.
    missed = misses(known, as_of=as_of, reach=MISS_MONTHS + months + lead)
    rows: list[BackTestRow] = []
    for month in range(as_of - months + 1, as_of + 1):
        made_at = month - lead
        then = [c.as_known(at_month=made_at) for c in known if c.month <= made_at]
        # A forecast may learn its level only from months that had come when it was made.
        seen = [m for m in missed if made_at - MISS_MONTHS < m.month <= made_at]
        try:
            observed_hazards(then, RETURNS_MIN)
        except NotEnoughEvidence:
            continue
        made = _Made(then, made_at, lead, level_of(seen)).forecast(
            coverage=coverage, seed=seed, draws=1000
        )
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


def _draw_hazards(rng: Generator, fit: Fit, draws: int) -> NDArray[float64]:
    """Return draws by age (tail last) from beta posteriors.

    The prior is worth one unit at the pooled hazard, so ages without returns keep some spread.
    """
    import numpy as np

    failed = np.append(fit.failed, fit.failed[-TAIL_AGES:].sum())
    at_risk = np.append(fit.at_risk, fit.at_risk[-TAIL_AGES:].sum())
    # Counted times factors below 1, fewer may be at risk than came back.
    at_risk = np.maximum(at_risk, failed)
    pooled = fit.failed.sum() / fit.at_risk.sum()
    # A beta needs both parameters above 0, also where every unit of the data came back.
    pooled = min(max(pooled, 1e-9), 1 - 1e-9)
    # Posterior of a binomial hazard: beta(failed + p, at risk - failed + 1 - p).
    return rng.beta(failed + pooled, at_risk - failed + 1 - pooled, size=(draws, len(failed)))


def _draw_factors(rng: Generator, fit: Fit, as_of: int, shape: tuple[int, int]) -> NDArray[float64]:
    """Return draws by month ahead of the factor of its month of the year."""
    import numpy as np

    months = (as_of + 1 + np.arange(shape[1])) % YEAR
    off = rng.normal(0.0, fit.factor_sd, size=(shape[0], YEAR))
    return np.maximum(0.0, fit.factors + off)[:, months]


def _levels(rng: Generator, level: Level, shape: tuple[int, int]) -> NDArray[float64]:
    """Return draws by month of a level that starts where it stands and wanders back to 1."""
    import numpy as np

    off = rng.normal(level.off, math.sqrt(level.variance), size=shape[0])
    steps = rng.normal(0.0, level.drift, size=shape)
    drawn = np.empty(shape)
    for month in range(shape[1]):
        off = STAYS * off + steps[:, month]
        drawn[:, month] = np.maximum(0.0, 1 + off)
    return drawn


def _counts(
    rng: Generator,
    units: Sequence[tuple[int, NDArray[int64]]],
    drawn: tuple[NDArray[float64], NDArray[float64]],
    as_of: int,
) -> NDArray[int64]:
    """Draw what comes back of units by month of sale, under hazards and under what multiplies
    them in each month ahead."""
    import numpy as np

    hazards, times = drawn
    tail = hazards.shape[1] - 1
    counts = np.zeros(times.shape, dtype=np.int64)
    for sold_in, still_out in units:
        left = still_out.copy()
        for ahead in range(times.shape[1]):
            age = as_of + 1 + ahead - sold_in
            if age >= 1:
                # One draw of hazards and levels holds for all cohorts: what is wrong of one is
                # wrong of all. The level can lift a chance above 1, which a binomial refuses.
                chance = np.minimum(1.0, hazards[:, min(age - 1, tail)] * times[:, ahead])
                coming = rng.binomial(left, chance)
                counts[:, ahead] += coming
                left -= coming
    return counts


def _month(
    month: int, expecting: tuple[float, float], counts: NDArray[int64], *, coverage: float
) -> MonthForecast:
    import numpy as np

    expected, from_sold = expecting

    low, high = np.quantile(counts, ((1 - coverage) / 2, (1 + coverage) / 2))
    return MonthForecast(
        month=month,
        expected=expected,
        from_sold=from_sold,
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
