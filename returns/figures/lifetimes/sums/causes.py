"""Weibull fits of one cause among several that compete for the same unit.

A unit that another cause took is censored for this one at that age: the cause-specific likelihood,
which is the factor of the whole likelihood that holds this cause's two parameters. The fit tells
how the cause acts while a unit is still there; the share it takes in the end, with the others at
work as well, is its cumulative incidence. Source: Meeker & Escobar, Statistical Methods for
Reliability Data, 1998, chapter 15 (from memory).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from returns.figures.lifetimes.sums.lifetimes import FAILURES_MIN, Exposure
from returns.figures.lifetimes.sums.weibull import Weibull, weibull_fit


def censored_for(exposures: Iterable[Exposure], cause: str) -> tuple[Exposure, ...]:
    """Return the exposures with every other cause read as "still in use" up to then.

    What another cause took between two spans is taken as in use up to their middle.
    """
    return tuple(row if row.cause == cause else _in_use(row) for row in exposures)


def _in_use(row: Exposure) -> Exposure:
    # Between two spans the other cause took it at a moment not seen; the middle errs to neither
    # side.
    span = row.span if row.since is None else (row.since + row.span) / 2
    return replace(row, cause="", since=None, span=span)


def cause_weibull(
    exposures: Iterable[Exposure], *, cause: str, failures_min: int = FAILURES_MIN
) -> Weibull:
    """Return the fit of one cause; NotEnoughEvidence where it took fewer than `failures_min`."""
    return weibull_fit(censored_for(exposures, cause), failures_min=failures_min)
