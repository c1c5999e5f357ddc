"""How long frames stay out before they first come back, from sales and weigh-ins by month.

A frame does not say when it was sold. A return of a known batch is laid on that batch's months
of sale, another on all months of its model, in proportion to the units still out there: largest
remainders first, earlier months among equals. Returns that no sale explains are counted apart.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from inventory.sums.months import Month, month_of
from inventory.sums.shares import apportion
from returns.queries.judged import Missing
from returns.queries.span import Scope, by_index, index, zone
from returns.sums import lifetimes as sums
from returns.sums.claims import NotEnoughEvidence
from returns.sums.forecasts import SoldCohort

CAUSE = "return"
FAILURES_MIN = sums.FAILURES_MIN

_Key = tuple[int, int, int]
"""Model id, batch id, running month of sale."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Cohorts:
    """Cohorts by month of sale up to month `as_of`, and first returns that fit none of them."""

    as_of: Month
    cohorts: tuple[SoldCohort, ...]
    unmatched: int

    @property
    def sold(self) -> int:
        return sum(cohort.sold for cohort in self.cohorts)

    @property
    def returned(self) -> int:
        return sum(sum(cohort.returned_by_age) for cohort in self.cohorts)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """A Weibull fit in months; limits of the span by which a tenth has come back, at 95 %."""

    shape: float
    shape_standard_error: float
    scale: float
    scale_standard_error: float
    mean: float
    tenth: float
    tenth_limits: tuple[float, float]
    failures: int
    units: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifetimes:
    """The survival curve with log-log limits (95 %), the median, and the fit; or what misses."""

    curve: tuple[sums.SurvivalPoint, ...]
    median_months: float | None
    fit: Fit | None
    missing: Missing | None


def cohorts(scope: Scope, *, as_of: Month) -> Cohorts:
    """Sales and first returns up to and with `as_of`. Two questions to the database."""
    sold: Counter[_Key] = Counter()
    rows = scope.sold().filter(month__lte=str(as_of), pieces__gt=0).order_by()
    for model, batch, month, pieces in rows.values_list(
        "batch__colourway__model", "batch", "month", "pieces"
    ):
        sold[model, batch, index(Month.parse(month))] += pieces
    came: Counter[tuple[int, int, int]] = Counter()
    frames = scope.frames().filter(
        mends_before=0, weighed_at__lt=as_of.span_utc(zone())[1], colourway__isnull=False
    )
    for model, batch, moment in frames.order_by().values_list(
        "colourway__model", "batch", "weighed_at"
    ):
        came[index(month_of(moment, zone())), model, batch or 0] += 1
    returned, unmatched = _laid_on(sold, came)
    return Cohorts(as_of=as_of, cohorts=_by_month(sold, returned, as_of), unmatched=unmatched)


def lifetimes(found: Cohorts) -> Lifetimes:
    """Curve and fit of what `cohorts` found; thin data say what is missing instead."""
    exposures = list(_exposures(found))
    try:
        curve = sums.survival_curve(exposures, failures_min=FAILURES_MIN)
    except NotEnoughEvidence as error:
        return Lifetimes(curve=(), median_months=None, fit=None, missing=_missing(error))
    try:
        fit = _fit(sums.weibull_fit(exposures))
    except NotEnoughEvidence as error:
        return Lifetimes(
            curve=curve, median_months=_median(curve), fit=None, missing=_missing(error)
        )
    return Lifetimes(curve=curve, median_months=_median(curve), fit=fit, missing=None)


def _laid_on(
    sold: Counter[_Key], came: Counter[tuple[int, int, int]]
) -> tuple[Counter[tuple[int, int]], int]:
    """Returns by (month of sale, age). Months are taken in order, so no unit returns twice."""
    still_out = Counter(sold)
    returned: Counter[tuple[int, int]] = Counter()
    unmatched = 0
    # Frames of a known batch go first within a month: they leave less to choose from.
    for month, model, batch in sorted(came, key=lambda key: (key[0], key[2] == 0, key)):
        count = came[month, model, batch]
        keys = sorted(
            key
            for key in still_out
            if key[0] == model and batch in (0, key[1]) and key[2] <= month and still_out[key] > 0
        )
        fitting = min(count, sum(still_out[key] for key in keys))
        unmatched += count - fitting
        shares = apportion(fitting, [still_out[key] for key in keys]) if fitting else ()
        for key, share in zip(keys, shares, strict=False):
            still_out[key] -= share
            returned[key[2], max(1, month - key[2])] += share
    return returned, unmatched


def _by_month(
    sold: Counter[_Key], returned: Counter[tuple[int, int]], as_of: Month
) -> tuple[SoldCohort, ...]:
    pieces: Counter[int] = Counter()
    for (_model, _batch, month), count in sold.items():
        pieces[month] += count
    now = index(as_of)
    return tuple(
        SoldCohort(
            month, pieces[month], tuple(returned[month, age] for age in range(1, now - month + 1))
        )
        for month in sorted(pieces)
    )


def _exposures(found: Cohorts) -> Iterable[sums.Exposure]:
    now = index(found.as_of)
    for cohort in found.cohorts:
        lived = now - cohort.month
        if lived < 1:
            continue
        for age, count in enumerate(cohort.returned_by_age, start=1):
            if count:
                yield sums.Exposure(age, CAUSE, count)
        if cohort.still_out:
            yield sums.Exposure(lived, "", cohort.still_out)


def _median(curve: tuple[sums.SurvivalPoint, ...]) -> float | None:
    try:
        return sums.median_span(curve)
    except NotEnoughEvidence:
        return None


def _fit(found: sums.Weibull) -> Fit:
    return Fit(
        shape=found.shape,
        shape_standard_error=found.shape_standard_error,
        scale=found.scale,
        scale_standard_error=found.scale_standard_error,
        mean=found.mean,
        tenth=found.life_at(0.1),
        tenth_limits=found.life_limits(0.1),
        failures=found.failures,
        units=found.units,
    )


def _missing(error: NotEnoughEvidence) -> Missing:
    return Missing(of=error.of, have=error.have, need=error.need)


def label(number: int) -> str:
    """A running month number as text."""
    return str(by_index(number))
