"""What share of a load ends where, and what a next load of the same kind will yield.

The share of several loads is that of all their mass together. Their range is the lowest and the
highest load; from three loads on a prediction interval for one more load stands beside it, by
Student's t (Montgomery and Runger, Applied Statistics and Probability for Engineers, 3rd edition
2003, section 8-6, equation 8-29). Loads are taken as alike, whatever their size.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass

CONFIDENCE = 0.95
# Own choice: a spread of two loads says nothing of the next.
LOADS_MIN = 3


@dataclass(frozen=True, slots=True, kw_only=True)
class Share:
    """A share of the gross mass, 0 to 1: of all loads together, its range, what to expect next.

    `next_low` and `next_high` are None with fewer than three loads.
    """

    mean: float
    low: float
    high: float
    next_low: float | None
    next_high: float | None
    loads: int


def share(parts: Sequence[tuple[int, int]]) -> Share | None:
    """Return the share of some loads, each given as (part, gross) in milligrams; None without any.

    ValueError for a gross mass of nothing, or a part that is below zero.
    """
    if any(part_mg < 0 or gross_mg < 1 for part_mg, gross_mg in parts):
        raise ValueError("a load weighs something, and no part of it less than nothing")
    if not parts:
        return None
    each = [part_mg / gross_mg for part_mg, gross_mg in parts]
    expected = prediction(each)
    return Share(
        mean=sum(part for part, _gross in parts) / sum(gross for _part, gross in parts),
        low=min(each),
        high=max(each),
        # A share is never outside 0 to 1, and a straight line through t may be.
        next_low=max(0.0, expected[0]) if expected else None,
        next_high=min(1.0, expected[1]) if expected else None,
        loads=len(each),
    )


def prediction(values: Sequence[float]) -> tuple[float, float] | None:
    """Return the interval in which one more value lies with 95 % confidence; None under three."""
    if len(values) < LOADS_MIN:
        return None
    return prediction_of(statistics.fmean(values), statistics.stdev(values), len(values))


def prediction_of(mean: float, deviation: float, count: int) -> tuple[float, float]:
    """Return the interval from mean, sample standard deviation and count; see `prediction`."""
    from scipy import stats

    quantile = float(stats.t.ppf((1 + CONFIDENCE) / 2, count - 1))
    reach = quantile * deviation * math.sqrt(1 + 1 / count)
    return mean - reach, mean + reach
