"""How long frames stay out before they first come back, from sales and weigh-ins by month.

A frame does not say when it was sold. A return of a known batch is laid on that batch's months
of sale, another on all months of its model, in proportion to the units still out there, those of
the month of sale itself by half; parts of a piece are carried over to the next return. Returns
that no sale explains are counted apart. Ages run from the middle of the month of sale.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.months.sums.calendar_month import Month, month_of
from returns.figures.circularity.queries.judged import Missing
from returns.figures.circularity.sums.indicator_spread import mean_life_factor
from returns.figures.claims.sums.claims import EvidenceError, NotEnoughEvidence
from returns.figures.forecast.sums.cohorts import SoldCohort
from returns.figures.lifetimes.sums import lifetimes as sums
from returns.figures.lifetimes.sums.lifetimes import median_limits, median_span
from returns.figures.lifetimes.sums.weibull import Weibull, weibull_fit
from returns.figures.span.queries import Scope, index, zone
from returns.models import Finding, Request, ReturnedFrame
from returns.story.sums.states import RequestState

CAUSE = "return"
NOT_LOOKED_OVER = "not_looked_over"
FAILURES_MIN = sums.FAILURES_MIN

_Key = tuple[int, int, int]
"""Model id, batch id, running month of sale."""

_Came = tuple[int, int, int, str]
"""Running month of the return, model id, batch id or 0, cause or empty."""

_Laid = tuple[int, int, str]
"""Running month of sale, age in months, cause or empty."""


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
    """A Weibull fit in months; limits of the span by which a tenth has come back, at 95 %.

    The mean lies between mean / `mean_factor` and mean * `mean_factor`, at 95 % as well.
    """

    shape: float
    shape_standard_error: float
    scale: float
    scale_standard_error: float
    mean: float
    mean_factor: float
    tenth: float
    tenth_limits: tuple[float, float]
    failures: int
    units: int

    def still_out(self, months: float) -> float:
        """Return the share that by the fit has not come back after so many months."""
        # S(t) = exp(-(t / eta) ** beta), the two-parameter Weibull.
        return math.exp(-((months / self.scale) ** self.shape)) if months > 0 else 1.0


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause, how many first returns it has, and its incidence by age; `latest` is its end."""

    key: str
    returns: int
    latest: sums.IncidencePoint
    curve: tuple[sums.IncidencePoint, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Lifetimes:
    """The survival curve with log-log limits (95 %), the median and the fit; or what is missing.

    A limit of the median is None where it lies beyond the oldest age seen. `fit_outside` are the
    ages in months at which the fit lies outside the limits of the curve.
    """

    curve: tuple[sums.SurvivalPoint, ...]
    median_months: float | None
    median_limits: tuple[float | None, float | None]
    fit: Fit | None
    fit_outside: tuple[float, ...]
    missing: Missing | None


def laid(sold: Counter[_Key], came: Counter[_Came], as_of: Month) -> Cohorts:
    laid, unmatched = _laid_on(sold, came)
    return Cohorts(as_of=as_of, cohorts=_by_month(sold, laid, as_of), unmatched=unmatched)


def cohorts(scope: Scope, *, as_of: Month, colour: str = "") -> Cohorts:
    """Return sales and first returns up to and including `as_of`. Two questions to the database."""
    sold = _sold(scope, as_of, colour)
    frames = _first_returns(scope, as_of, colour)
    came: Counter[_Came] = Counter()
    for model, batch, moment in frames.values_list("colourway__model", "batch", "weighed_at"):
        came[index(month_of(moment, zone())), model, batch or 0, ""] += 1
    return laid(sold, came, as_of)


def kit_cohorts(scope: Scope, *, as_of: Month) -> Cohorts:
    """Return sales, with the requests for spare screws laid on them as returns are."""
    rows = Request.objects.filter(
        # The end of the span is exclusive and in UTC, as the column is; months are the workshop's
        # own.
        kind=Request.Kind.SCREWS,
        filed_at__lt=as_of.span_utc(zone())[1],
    ).exclude(state=RequestState.WITHDRAWN)
    if scope.model is not None:
        rows = rows.filter(colourway__model=scope.model)
    came: Counter[_Came] = Counter()
    for model, moment in rows.order_by().values_list("colourway__model", "filed_at"):
        came[index(month_of(moment, zone())), model, 0, ""] += 1
    return laid(_sold(scope, as_of, ""), came, as_of)


def causes(scope: Scope, *, as_of: Month) -> tuple[Cause, ...]:
    """Return the incidence of each cause among its competitors, the commonest cause first.

    The cause is the first finding of the latest look-over; empty for frames not looked over yet.
    """
    sold, laid = _laid_by_cause(scope, as_of)
    return _incidences(sold, laid, as_of)


def exposures_by_cause(scope: Scope, *, as_of: Month) -> list[sums.Exposure]:
    """Return every sold unit by the months it was out and the cause that brought it back."""
    sold, laid = _laid_by_cause(scope, as_of)
    return _cause_exposures(sold, laid, as_of)


def by_component(scope: Scope, *, as_of: Month) -> tuple[Counter[int], Counter[_Laid]]:
    """Return units by month of sale, and first returns by month of sale, age and component.

    The component is that of the first finding of the latest look-over; empty for a frame that
    nobody looked over, or that had none.
    """
    return _laid_by_cause(scope, as_of, "component")


def _laid_by_cause(
    scope: Scope, as_of: Month, named_by: str = "defect"
) -> tuple[Counter[int], Counter[_Laid]]:
    """Units by month of sale and their returns. What was sold in the last month has lived through
    no age yet: it is left out, the returned and the others alike."""
    sold = _sold(scope, as_of, "")
    frames = _first_returns(scope, as_of, "")
    named = _first_findings(frames, named_by)
    unnamed = NOT_LOOKED_OVER if named_by == "defect" else ""
    came: Counter[_Came] = Counter()
    for pk, model, batch, moment in frames.values_list(
        "pk", "colourway__model", "batch", "weighed_at"
    ):
        cause = named.get(pk, unnamed)
        came[index(month_of(moment, zone())), model, batch or 0, cause] += 1
    laid, _unmatched = _laid_on(sold, came)
    now = index(as_of)
    return (
        # Numerator and denominator lose the same month of sale: dropping only one would bend the
        # curve.
        Counter({sale: count for sale, count in _pieces(sold).items() if sale < now}),
        Counter({key: count for key, count in laid.items() if key[0] < now}),
    )


def _cause_exposures(sold: Counter[int], laid: Counter[_Laid], as_of: Month) -> list[sums.Exposure]:
    now = index(as_of)
    exposures = [
        _came_back(age, cause, count) for (_sale, age, cause), count in laid.items() if count
    ]
    came_back: Counter[int] = Counter()
    for (sale, _age, _cause), count in laid.items():
        came_back[sale] += count
    exposures += [
        # What was sold and has not come back is censored at the age it has reached today.
        _still_out(now - sale, count - came_back[sale])
        for sale, count in sold.items()
        if count > came_back[sale]
    ]
    return exposures


def _incidences(sold: Counter[int], laid: Counter[_Laid], as_of: Month) -> tuple[Cause, ...]:
    exposures = _cause_exposures(sold, laid, as_of)
    returns: Counter[str] = Counter()
    for (_sale, _age, cause), count in laid.items():
        returns[cause] += count
    curves = {
        cause: sums.cumulative_incidence(exposures, cause=cause)
        for cause, count in returns.items()
        if count
    }
    return tuple(
        Cause(cause, count, curves[cause][-1], curves[cause])
        for cause, count in returns.most_common()
        if count
    )


def _first_findings(frames: QuerySet[ReturnedFrame], named_by: str) -> dict[int, str]:
    """Frame to defect or component of the first finding of its latest grading. One question."""
    rows = Finding.objects.filter(grading__frame__in=frames.values("pk"))
    named: dict[int, tuple[int, str]] = {}
    for frame, grading, defect in rows.order_by("grading_id", "pk").values_list(
        "grading__frame", "grading", named_by
    ):
        # In rising order of grading: a later look-over replaces an earlier one, and within one
        # the first finding stays.
        if frame not in named or named[frame][0] != grading:
            named[frame] = (grading, defect)
    return {frame: defect for frame, (_grading, defect) in named.items()}


def _first_returns(scope: Scope, as_of: Month, colour: str) -> QuerySet[ReturnedFrame]:
    frames = scope.frames().filter(
        # Only the first return is a lifetime: a mended frame that comes again was not new when it
        # went out.
        mends_before=0,
        weighed_at__lt=as_of.span_utc(zone())[1],
        colourway__isnull=False,
    )
    return (frames.filter(colourway__colour__code=colour) if colour else frames).order_by()


def _sold(scope: Scope, as_of: Month, colour: str) -> Counter[_Key]:
    sold: Counter[_Key] = Counter()
    rows = scope.sold().filter(month__lte=str(as_of), pieces__gt=0).order_by()
    if colour:
        rows = rows.filter(batch__colourway__colour__code=colour)
    for model, batch, month, pieces in rows.values_list(
        "batch__colourway__model", "batch", "month", "pieces"
    ):
        sold[model, batch, index(Month.parse(month))] += pieces
    return sold


def lifetimes(found: Cohorts) -> Lifetimes:
    """Return curve and fit of what `cohorts` found, or what is missing where data are thin."""
    exposures = list(_exposures(found))
    try:
        curve = sums.survival_curve(exposures, failures_min=FAILURES_MIN)
    except NotEnoughEvidence as error:
        return _lived((), None, Missing.because(error))
    try:
        fit = _fit(weibull_fit(exposures))
    except EvidenceError as error:
        return _lived(curve, None, Missing.because(error))
    return _lived(curve, fit, None)


def _lived(
    curve: tuple[sums.SurvivalPoint, ...], fit: Fit | None, missing: Missing | None
) -> Lifetimes:
    return Lifetimes(
        curve=curve,
        median_months=_median(curve),
        median_limits=median_limits(curve),
        fit=fit,
        fit_outside=_outside(curve, fit) if fit else (),
        missing=missing,
    )


def _outside(curve: tuple[sums.SurvivalPoint, ...], fit: Fit) -> tuple[float, ...]:
    return tuple(
        point.span
        for point in curve
        if not point.loglog_limits[0] <= fit.still_out(point.span) <= point.loglog_limits[1]
    )


def _laid_on(sold: Counter[_Key], came: Counter[_Came]) -> tuple[Counter[_Laid], int]:
    """Returns by (month of sale, age, cause). Months in order, so no unit returns twice.

    A lone return is a whole piece: laid by itself it would always go to the largest month of sale,
    which in a workshop that grows is the latest. So month of sale and age keep what they are owed.
    """
    still_out = Counter(sold)
    owed = _Owed(defaultdict(float), defaultdict(float))
    returned: Counter[_Laid] = Counter()
    unmatched = 0
    # Frames whose batch is on record go first within a month: they leave less to choose from.
    for month, model, batch, cause in sorted(came, key=lambda key: (key[0], key[2] == 0, key)):
        count = came[month, model, batch, cause]
        by_sale: defaultdict[int, list[_Key]] = defaultdict(list)
        # Sorted, so that the same data lay the same returns on the same months on every run.
        for key in sorted(still_out):
            if key[0] == model and batch in (0, key[1]) and key[2] <= month and still_out[key]:
                by_sale[key[2]].append(key)
        fitting = min(count, sum(still_out[key] for keys in by_sale.values() for key in keys))
        unmatched += count - fitting
        # What is owed is shared before any piece is laid, for the pieces themselves change what is
        # out.
        owed.share(
            month, fitting, {sale: sum(still_out[k] for k in by_sale[sale]) for sale in by_sale}
        )
        for _piece in range(fitting):
            sales = [sale for sale, keys in by_sale.items() if any(still_out[k] for k in keys)]
            sale = owed.take(month, sales)
            # Among batches of one month the fullest gives; of equal ones the first in order, so it
            # is repeatable.
            key = max(by_sale[sale], key=lambda one: still_out[one])
            still_out[key] -= 1
            # Age 0 does not exist in the tables: what came in its month of sale is booked at age 1.
            returned[sale, max(1, month - sale), cause] += 1
    return returned, unmatched


@dataclass(frozen=True, slots=True)
class _Owed:
    """Parts of returns that each month of sale, and each age, is still owed."""

    by_sale: defaultdict[int, float]
    by_age: defaultdict[int, float]

    def share(self, month: int, count: int, out: dict[int, int]) -> None:
        """Share the returns of a month by the units out, in their month of sale for half of it."""
        # A unit sold within the month was out for half of it on average.
        exposed = {sale: units if sale < month else units / 2 for sale, units in out.items()}
        # Zero only where nothing is out, and then there is no month of sale to divide for.
        whole = sum(exposed.values())
        for sale, units in exposed.items():
            self._add(month, sale, count * units / whole)

    def take(self, month: int, sales: Iterable[int]) -> int:
        """Choose the month of sale that gets the next piece."""
        # The largest remainder wins, of the month and of the age together, and pays for it with one
        # piece: over the months the shares come out right though each piece is whole.
        owed = max(sales, key=lambda sale: self.by_sale[sale] + self.by_age[month - sale])
        self._add(month, owed, -1)
        return owed

    def _add(self, month: int, sale: int, part: float) -> None:
        self.by_sale[sale] += part
        self.by_age[month - sale] += part


def _by_month(
    sold: Counter[_Key], returned: Counter[_Laid], as_of: Month
) -> tuple[SoldCohort, ...]:
    pieces = _pieces(sold)
    now = index(as_of)
    return tuple(
        SoldCohort(
            month,
            pieces[month],
            tuple(returned[month, age, ""] for age in range(1, now - month + 1)),
        )
        for month in sorted(pieces)
    )


def _pieces(sold: Counter[_Key]) -> Counter[int]:
    pieces: Counter[int] = Counter()
    for (_model, _batch, month), count in sold.items():
        pieces[month] += count
    return pieces


def _exposures(found: Cohorts) -> Iterable[sums.Exposure]:
    now = index(found.as_of)
    for cohort in found.cohorts:
        lived = now - cohort.month
        # What was sold in the last month has no whole month behind it, so it is at risk at no age
        # yet.
        if lived < 1:
            continue
        for age, count in enumerate(cohort.returned_by_age, start=1):
            if count:
                yield _came_back(age, CAUSE, count)
        if cohort.still_out:
            yield _still_out(lived, cohort.still_out)


def _came_back(age: int, cause: str, units: int) -> sums.Exposure:
    """Only the month of a return is recorded: sold in the middle of one, it came between two ages.

    What came in the month of sale itself is counted with age 1.
    """
    return sums.Exposure(age + 0.5, cause, units, since=age - 0.5 if age > 1 else 0.0)


def _still_out(months: int, units: int) -> sums.Exposure:
    # Sold in the middle of its month, and seen to the end of the last one: half a month more.
    return sums.Exposure(months + 0.5, "", units)


def _median(curve: tuple[sums.SurvivalPoint, ...]) -> float | None:
    try:
        return median_span(curve)
    except NotEnoughEvidence:
        return None


def _fit(found: Weibull) -> Fit:
    return Fit(
        shape=found.shape,
        shape_standard_error=found.shape_standard_error,
        scale=found.scale,
        scale_standard_error=found.scale_standard_error,
        mean=found.mean,
        mean_factor=mean_life_factor(found),
        tenth=found.life_at(0.1),
        tenth_limits=found.life_limits(0.1),
        failures=found.failures,
        units=found.units,
    )
