"""A Weibull fit of each cause of a first return, or how many more returns it would take. Reads."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from inventory.months.sums.calendar_month import Month
from returns.figures.circularity.queries.judged import Missing
from returns.figures.claims.sums.claims import EvidenceError
from returns.figures.lifetimes.queries.lifetimes import NOT_LOOKED_OVER, exposures_by_cause
from returns.figures.lifetimes.sums.weibull import cause_weibull
from returns.figures.span.queries import Scope


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseFit:
    """Shape and scale (months) with standard errors, for this cause alone; or what is missing."""

    cause: str
    returns: int
    shape: float | None = None
    shape_standard_error: float | None = None
    scale: float | None = None
    scale_standard_error: float | None = None
    missing: Missing | None = None


def cause_fits(scope: Scope, *, as_of: Month) -> tuple[CauseFit, ...]:
    """Fit each cause, the commonest first. A frame nobody looked over has no cause and counts as
    censored."""
    exposures = exposures_by_cause(scope, as_of=as_of)
    returns: Counter[str] = Counter()
    for row in exposures:
        # A frame without a look-over came back, but of what nobody knows: it must not make a cause
        # of its own.
        if row.cause not in ("", NOT_LOOKED_OVER):
            returns[row.cause] += row.units
    found = []
    for cause, count in returns.most_common():
        try:
            fit = cause_weibull(exposures, cause=cause)
        except EvidenceError as error:
            found.append(CauseFit(cause=cause, returns=count, missing=Missing.because(error)))
            continue
        found.append(
            CauseFit(
                cause=cause,
                returns=count,
                shape=fit.shape,
                shape_standard_error=fit.shape_standard_error,
                scale=fit.scale,
                scale_standard_error=fit.scale_standard_error,
            )
        )
    return tuple(found)
