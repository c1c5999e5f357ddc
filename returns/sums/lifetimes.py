"""How long frames and screws last, from units that failed and units still in use.

Product-limit curves, Weibull fits with right censoring, cumulative incidence of competing causes,
and hazards by age from cohorts of different age. Every figure carries its uncertainty, and thin
data raise NotEnoughEvidence with the count needed instead of giving one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

from returns.sums.claims import InputRefused, NotEnoughEvidence

if TYPE_CHECKING:
    from numpy import bool_, float64
    from numpy.typing import NDArray

# The workshop's own choice: below five failures a two-parameter fit says little.
FAILURES_MIN = 5


@dataclass(frozen=True, slots=True)
class Exposure:
    """Units that share one span in use: `cause` is empty while they are still in use.

    `span` is in any one unit used throughout (months here); grouped data are given by `units`.
    """

    span: float
    cause: str = ""
    units: int = 1

    def __post_init__(self) -> None:
        if not (math.isfinite(self.span) and self.span > 0):
            raise InputRefused("A span in use must be above 0.")
        if self.units < 1:
            raise InputRefused("An exposure needs at least one unit.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalPoint:
    """Survival just after `span`, its Greenwood standard error and two pairs of limits.

    Log limits are S exp(+-z q), cut at 1; log-log limits are S ** exp(+-z q / ln S), where q is the
    root of the Greenwood sum. Packages differ in which they print, so both are explicit.
    """

    span: float
    at_risk: int
    failed: int
    survival: float
    standard_error: float
    log_limits: tuple[float, float]
    loglog_limits: tuple[float, float]


def survival_curve(
    exposures: Iterable[Exposure], *, coverage: float = 0.95, failures_min: int = 1
) -> tuple[SurvivalPoint, ...]:
    """Return the product-limit (Kaplan-Meier) curve at each failure span.

    A unit censored at a failure span still counts as at risk there. Standard error NaN at S = 0.
    """
    steps = _steps(exposures)
    _need("failures", sum(step.failed.total() for step in steps), failures_min)
    z = normal_quantile(coverage)
    points: list[SurvivalPoint] = []
    survival, greenwood = 1.0, 0.0
    for step in steps:
        failed = step.failed.total()
        if not failed:
            continue
        survival *= 1 - failed / step.at_risk
        greenwood += _greenwood_term(failed, step.at_risk)
        points.append(_survival_point(step, survival, math.sqrt(greenwood), z))
    return tuple(points)


def median_span(curve: Sequence[SurvivalPoint]) -> float:
    """Return the first span at which survival is 0.5 or less; raise NotEnoughEvidence if none."""
    _need("failures", len(curve), 1)
    for point in curve:
        # The product of the steps may sit a last bit above one half.
        if point.survival <= 0.5 + 1e-12:
            return point.span
    left = curve[-1].at_risk - curve[-1].failed
    raise NotEnoughEvidence(of="failures among the units left", have=0, need=math.ceil(left / 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class IncidencePoint:
    """Cumulative incidence of one cause by `span`, with its standard error."""

    span: float
    failed: int
    incidence: float
    standard_error: float


def cumulative_incidence(
    exposures: Iterable[Exposure], *, cause: str, failures_min: int = 1
) -> tuple[IncidencePoint, ...]:
    """Return the Aalen-Johansen cumulative incidence of `cause` among competing causes.

    Variance by the delta method (Marubini and Valsecchi 1995, formula from memory); with a single
    cause it equals Greenwood's.
    """
    steps = _steps(exposures)
    _need(f"{cause} failures", sum(step.failed[cause] for step in steps), failures_min)
    survival, incidence = 1.0, 0.0
    rows: list[_IncidenceRow] = []
    points: list[IncidencePoint] = []
    for step in steps:
        failed, of_cause = step.failed.total(), step.failed[cause]
        incidence += survival * of_cause / step.at_risk
        rows.append(_IncidenceRow(incidence, survival, step.at_risk, failed, of_cause))
        survival *= 1 - failed / step.at_risk
        if of_cause:
            points.append(
                IncidencePoint(
                    span=step.span,
                    failed=of_cause,
                    incidence=incidence,
                    standard_error=math.sqrt(max(0.0, _incidence_variance(rows, incidence))),
                )
            )
    return tuple(points)


@dataclass(frozen=True, slots=True, kw_only=True)
class Weibull:
    """A Weibull fit: shape beta, scale eta, location mu = ln eta, spread sigma = 1 / beta.

    `covariance` is (var mu, cov mu sigma, var sigma) from the observed information.
    """

    mu: float
    sigma: float
    covariance: tuple[float, float, float]
    log_likelihood: float
    failures: int
    units: int

    @property
    def shape(self) -> float:
        """Beta."""
        return 1 / self.sigma

    @property
    def scale(self) -> float:
        """Eta, in the unit of the spans."""
        return math.exp(self.mu)

    @property
    def shape_standard_error(self) -> float:
        """Standard error of beta, se(sigma) / sigma squared."""
        return math.sqrt(self.covariance[2]) / self.sigma**2

    @property
    def scale_standard_error(self) -> float:
        """Standard error of eta, eta se(mu)."""
        return self.scale * math.sqrt(self.covariance[0])

    @property
    def mean(self) -> float:
        """Mean life, eta Gamma(1 + 1/beta)."""
        return self.scale * math.gamma(1 + self.sigma)

    @property
    def standard_deviation(self) -> float:
        """Standard deviation of life."""
        spread = math.gamma(1 + 2 * self.sigma) - math.gamma(1 + self.sigma) ** 2
        return self.scale * math.sqrt(spread)

    def failed_by(self, span: float) -> float:
        """Return F(span), the share failed by then."""
        return -math.expm1(-((span / self.scale) ** self.shape)) if span > 0 else 0.0

    def life_at(self, share: float) -> float:
        """Return B_p, the span by which `share` (between 0 and 1) have failed."""
        if not 0 < share < 1:
            raise InputRefused("Give a failed share between 0 and 1.")
        return self.scale * math.pow(-math.log1p(-share), self.sigma)

    def life_limits(self, share: float, *, coverage: float = 0.95) -> tuple[float, float]:
        """Return two-sided normal limits of B_p, formed on its logarithm."""
        point = self.life_at(share)
        standard = math.log(-math.log1p(-share))
        var_mu, covariance, var_sigma = self.covariance
        error = math.sqrt(var_mu + 2 * standard * covariance + standard**2 * var_sigma)
        factor = math.exp(normal_quantile(coverage) * error)
        return point / factor, point * factor


def weibull_fit(exposures: Iterable[Exposure], *, failures_min: int = FAILURES_MIN) -> Weibull:
    """Return the maximum-likelihood Weibull fit of failed and still-used units.

    The shape solves the profile-likelihood equation, which has one root when failure spans differ.
    """
    import numpy as np

    rows = tuple(exposures)
    failures = sum(row.units for row in rows if row.cause)
    _need("failures", failures, max(failures_min, 2))
    _need("different spans", len({row.span for row in rows}), 2)
    spans = np.array([row.span for row in rows], dtype=float)
    units = np.array([row.units for row in rows], dtype=float)
    failed = np.array([bool(row.cause) for row in rows])
    return _weibull_at(spans, units, failed, _profile_shape(spans, units, failed))


@dataclass(frozen=True, slots=True)
class AgedCohort:
    """Units that went into use together and what failed in each whole age period since."""

    units: int
    failed_by_age: tuple[int, ...]

    def __post_init__(self) -> None:
        if self.units < 1 or any(count < 0 for count in self.failed_by_age):
            raise InputRefused("A cohort needs at least one unit and no negative failure count.")
        if sum(self.failed_by_age) > self.units:
            raise InputRefused("More units failed than went into use: check the cohort's counts.")


@dataclass(frozen=True, slots=True, kw_only=True)
class AgeHazard:
    """Hazard of one age period (1 = first) pooled over cohorts, and the share failed by its end."""

    age: int
    at_risk: int
    failed: int
    hazard: float
    failed_by: float
    standard_error: float


def age_hazards(cohorts: Iterable[AgedCohort], *, failures_min: int = 1) -> tuple[AgeHazard, ...]:
    """Return hazards by age; a cohort counts only in the age periods it has lived through."""
    known = tuple(cohorts)
    _need("failures", sum(sum(c.failed_by_age) for c in known), max(failures_min, 1))
    hazards: list[AgeHazard] = []
    survival, greenwood = 1.0, 0.0
    for age in range(1, max(len(cohort.failed_by_age) for cohort in known) + 1):
        lived = [cohort for cohort in known if len(cohort.failed_by_age) >= age]
        failed = sum(cohort.failed_by_age[age - 1] for cohort in lived)
        at_risk = sum(cohort.units - sum(cohort.failed_by_age[: age - 1]) for cohort in lived)
        if at_risk == 0:
            break
        survival *= 1 - failed / at_risk
        greenwood += _greenwood_term(failed, at_risk)
        hazards.append(
            AgeHazard(
                age=age,
                at_risk=at_risk,
                failed=failed,
                hazard=failed / at_risk,
                failed_by=1 - survival,
                standard_error=_times(survival, math.sqrt(greenwood)),
            )
        )
    return tuple(hazards)


def normal_quantile(coverage: float) -> float:
    """Return z of a two-sided normal interval, 1.96 for 0.95."""
    from scipy.special import ndtri

    if not 0 < coverage < 1:
        raise InputRefused("Coverage must lie between 0 and 1.")
    return float(ndtri((1 + coverage) / 2))


@dataclass(frozen=True, slots=True)
class _Step:
    span: float
    at_risk: int
    failed: Counter[str]


@dataclass(frozen=True, slots=True)
class _IncidenceRow:
    incidence: float
    survival_before: float
    at_risk: int
    failed: int
    of_cause: int


def _steps(exposures: Iterable[Exposure]) -> list[_Step]:
    """Return one step per distinct span in rising order with the units at risk just before it."""
    rows = sorted(exposures, key=lambda row: row.span)
    at_risk = sum(row.units for row in rows)
    steps: list[_Step] = []
    for span, group in groupby(rows, key=lambda row: row.span):
        units: Counter[str] = Counter()
        for row in group:
            units[row.cause] += row.units
        steps.append(_Step(span, at_risk, units - Counter({"": at_risk})))
        at_risk -= units.total()
    return steps


def _survival_point(step: _Step, survival: float, root: float, z: float) -> SurvivalPoint:
    if survival == 0 or root == 0:
        log_limits = loglog_limits = (survival, survival)
    else:
        log_limits = (survival * math.exp(-z * root), min(1.0, survival * math.exp(z * root)))
        exponent = z * root / math.log(survival)
        loglog_limits = (survival ** math.exp(-exponent), survival ** math.exp(exponent))
    return SurvivalPoint(
        span=step.span,
        at_risk=step.at_risk,
        failed=step.failed.total(),
        survival=survival,
        standard_error=_times(survival, root),
        log_limits=log_limits,
        loglog_limits=loglog_limits,
    )


def _greenwood_term(failed: int, at_risk: int) -> float:
    return failed / (at_risk * (at_risk - failed)) if failed < at_risk else math.inf


def _times(survival: float, root: float) -> float:
    """Return S times the Greenwood root; NaN where every unit failed and it is not defined."""
    return math.nan if math.isinf(root) else survival * root


def _incidence_variance(rows: Sequence[_IncidenceRow], incidence: float) -> float:
    total = 0.0
    for row in rows:
        later = incidence - row.incidence
        per_unit = row.survival_before * row.of_cause / row.at_risk**2
        if later > 0 and row.failed:
            total += later**2 * _greenwood_term(row.failed, row.at_risk) - 2 * later * per_unit
        total += per_unit * row.survival_before * (row.at_risk - row.of_cause) / row.at_risk
    return total


def _profile_shape(
    spans: NDArray[float64], units: NDArray[float64], failed: NDArray[bool_]
) -> float:
    import numpy as np
    from scipy.optimize import brentq

    logs = np.log(spans / spans.max())
    mean_log = float((units * logs)[failed].sum() / units[failed].sum())

    def slope(shape: float) -> float:
        weights = units * np.exp(shape * logs)
        return float((weights * logs).sum() / weights.sum()) - 1 / shape - mean_log

    return float(brentq(slope, *_bracket(slope), xtol=1e-13, rtol=1e-13, maxiter=500))


def _bracket(slope: Callable[[float], float]) -> tuple[float, float]:
    high = 1.0
    while slope(high) < 0:
        high *= 2
        if high > 1e6:
            raise NotEnoughEvidence(of="different failure spans", have=1, need=2)
    return 1e-3, high


def _weibull_at(
    spans: NDArray[float64], units: NDArray[float64], failed: NDArray[bool_], shape: float
) -> Weibull:
    import numpy as np

    failures, sigma = float(units[failed].sum()), 1 / shape
    # Spans are taken relative to the largest so that powers cannot overflow.
    top = float(spans.max())
    mu = math.log(top) + sigma * math.log((units * (spans / top) ** shape).sum() / failures)
    z = (np.log(spans) - mu) / sigma
    force = units * np.exp(z)
    density = (units * (z - math.log(sigma) - np.log(spans)))[failed].sum()
    # Observed information in (mu, sigma) at the maximum, times sigma squared.
    cross = (z * force).sum()
    information = [[force.sum(), cross], [cross, failures + (z * z * force).sum()]]
    covariance = np.linalg.inv(np.array(information)) * sigma**2
    return Weibull(
        mu=mu,
        sigma=sigma,
        covariance=(float(covariance[0, 0]), float(covariance[0, 1]), float(covariance[1, 1])),
        log_likelihood=float(density - force.sum()),
        failures=round(failures),
        units=round(float(units.sum())),
    )


def _need(of: str, have: int, need: int) -> None:
    if have < need:
        raise NotEnoughEvidence(of=of, have=have, need=need)
