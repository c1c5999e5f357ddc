"""How long frames and screws last, from units that failed and units still in use.

Product-limit curves, cumulative incidence of competing causes, and hazards by age from cohorts of
different age. Every figure carries its uncertainty, and thin data raise NotEnoughEvidence with the
count needed instead of giving one.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence

# The workshop's own choice: below five failures a two-parameter fit says little.
FAILURES_MIN = 5


@dataclass(frozen=True, slots=True)
class Exposure:
    """Units that share one span in use: `cause` is empty while they are still in use.

    `span` is in any one unit used throughout (months here); grouped data are given by `units`. A
    failure that is only known to lie after `since` and by `span` is given with both.
    """

    span: float
    cause: str = ""
    units: int = 1
    since: float | None = None

    def __post_init__(self) -> None:
        if self.since is not None and not (self.cause and 0 <= self.since < self.span):
            raise InputRefused("Only a failure can lie between two spans, the earlier first.")
        if not (math.isfinite(self.span) and self.span > 0):
            raise InputRefused("A span in use must be above 0.")
        if self.units < 1:
            raise InputRefused("An exposure needs at least one unit.")


@dataclass(frozen=True, slots=True, kw_only=True)
class SurvivalPoint:
    """Survival just after `span`, its Greenwood standard error and log-log limits.

    These are S ** exp(+-z q / ln S), where q is the root of the Greenwood sum. Packages differ in
    which limits they print, so the name says it.
    """

    span: float
    at_risk: int
    failed: int
    survival: float
    standard_error: float | None
    loglog_limits: tuple[float, float]


def survival_curve(
    exposures: Iterable[Exposure], *, coverage: float = 0.95, failures_min: int = 1
) -> tuple[SurvivalPoint, ...]:
    """Return the product-limit (Kaplan-Meier) curve at each failure span.

    A unit censored at a failure span still counts as at risk there. No standard error at S = 0.
    """
    steps = _steps(exposures)
    need("failures", sum(step.failed.total() for step in steps), failures_min)
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
    need(f"{cause} failures", sum(step.failed[cause] for step in steps), failures_min)
    survival, incidence = 1.0, 0.0
    rows: list[_IncidenceRow] = []
    points: list[IncidencePoint] = []
    for step in steps:
        failed, of_cause = step.failed.total(), step.failed[cause]
        # Aalen-Johansen: dI = S(t-) d_c / n. The survival is that just before the step, over all
        # causes, so it is lowered only after the incidence has been added.
        incidence += survival * of_cause / step.at_risk
        rows.append(_IncidenceRow(incidence, survival, step.at_risk, failed, of_cause))
        survival *= 1 - failed / step.at_risk
        if of_cause:
            points.append(
                IncidencePoint(
                    span=step.span,
                    failed=of_cause,
                    incidence=incidence,
                    # Rounding can leave a variance a last bit below zero.
                    standard_error=math.sqrt(max(0.0, _incidence_variance(rows, incidence))),
                )
            )
    return tuple(points)


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
    standard_error: float | None


def age_hazards(cohorts: Iterable[AgedCohort], *, failures_min: int = 1) -> tuple[AgeHazard, ...]:
    """Return hazards by age; a cohort counts only in the age periods it has lived through."""
    known = tuple(cohorts)
    need("failures", sum(sum(c.failed_by_age) for c in known), max(failures_min, 1))
    hazards: list[AgeHazard] = []
    survival, greenwood = 1.0, 0.0
    for age in range(1, max(len(cohort.failed_by_age) for cohort in known) + 1):
        # A cohort too young for this age says nothing of it: it is left out above and below the
        # line alike.
        lived = [cohort for cohort in known if len(cohort.failed_by_age) >= age]
        failed = sum(cohort.failed_by_age[age - 1] for cohort in lived)
        at_risk = sum(cohort.units - sum(cohort.failed_by_age[: age - 1]) for cohort in lived)
        # Every unit has come back by now: a later age has no one at risk, and its hazard is not
        # defined.
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
    # `ndtri` is the inverse of the normal distribution function: two-sided, so half of the rest on
    # top.
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
        # Subtracting counters drops every count that is not above zero: it takes out the censored
        # units, of which there are never more than are at risk, and leaves the failures by cause.
        steps.append(_Step(span, at_risk, units - Counter({"": at_risk})))
        at_risk -= units.total()
    return steps


def _survival_point(step: _Step, survival: float, root: float, z: float) -> SurvivalPoint:
    # The logarithm of S is not defined at 0 and is no divisor at 1: there is no spread to show.
    if survival == 0 or root == 0:
        loglog_limits = (survival, survival)
    else:
        exponent = z * root / math.log(survival)
        # ln S is below zero, and so is the exponent: the first of the two is the lower limit.
        loglog_limits = (survival ** math.exp(-exponent), survival ** math.exp(exponent))
    return SurvivalPoint(
        span=step.span,
        at_risk=step.at_risk,
        failed=step.failed.total(),
        survival=survival,
        standard_error=_times(survival, root),
        loglog_limits=loglog_limits,
    )


def _greenwood_term(failed: int, at_risk: int) -> float:
    # Greenwood: Var(S) = S ** 2 * sum of d / (n (n - d)); infinite where all who were at risk
    # failed.
    return failed / (at_risk * (at_risk - failed)) if failed < at_risk else math.inf


def _times(survival: float, root: float) -> float | None:
    """Return S times the Greenwood root; None where every unit failed and it is not defined."""
    return None if math.isinf(root) else survival * root


def _incidence_variance(rows: Sequence[_IncidenceRow], incidence: float) -> float:
    # Per earlier step j, with I the incidence now: (I - I_j) ** 2 d / (n (n - d)) + S ** 2 d_c (n -
    # d_c) / n ** 3 - 2 (I - I_j) S d_c / n ** 2 (Marubini and Valsecchi 1995, from memory).
    total = 0.0
    for row in rows:
        later = incidence - row.incidence
        per_unit = row.survival_before * row.of_cause / row.at_risk**2
        # The test comes first: where all at risk failed the term is infinite, and infinity times 0
        # is no number.
        if later > 0 and row.failed:
            total += later**2 * _greenwood_term(row.failed, row.at_risk) - 2 * later * per_unit
        total += per_unit * row.survival_before * (row.at_risk - row.of_cause) / row.at_risk
    return total


def need(of: str, have: int, need: int) -> None:
    if have < need:
        raise NotEnoughEvidence(of=of, have=have, need=need)


# The product of the steps may sit a last bit above one half.
_HALF = 0.5 + 1e-12


def median_span(curve: Sequence[SurvivalPoint]) -> float:
    """Return the first span at which survival is 0.5 or less; raise NotEnoughEvidence if none."""
    if not curve:
        raise NotEnoughEvidence(of="failures", have=0, need=1)
    for point in curve:
        if point.survival <= _HALF:
            return point.span
    # The median needs at least half of those who are left to fail: the number to wait for.
    left = curve[-1].at_risk - curve[-1].failed
    raise NotEnoughEvidence(of="failures among the units left", have=0, need=math.ceil(left / 2))


def median_limits(curve: Sequence[SurvivalPoint]) -> tuple[float | None, float | None]:
    """Return the first spans at which the lower and the upper log-log limit are 0.5 or less.

    None where a limit is not reached by the oldest span seen, or is no number there.
    """
    # A comparison with NaN is false, so a limit that is no number is passed over without a test.
    low = (point.span for point in curve if point.loglog_limits[0] <= _HALF)
    high = (point.span for point in curve if point.loglog_limits[1] <= _HALF)
    return next(low, None), next(high, None)
