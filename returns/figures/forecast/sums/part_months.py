"""Pieces of a spare part that a month will ask for, from the forecasts of the kits it comes in.

Several models may use one part, each with its own forecast of kits; they are taken as independent,
so their variances add (JCGM 100, law of propagation, from memory). Limits are normal, widened to
whole pieces.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, floor, fsum, sqrt

from returns.figures.claims.sums.claims import InputRefused
from returns.figures.forecast.sums.forecasts import MonthForecast
from returns.figures.lifetimes.sums.lifetimes import normal_quantile


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMonth:
    """Pieces expected in one month (running number), with whole limits."""

    month: int
    expected: float
    low: int
    high: int


def part_month(kits: Sequence[tuple[int, MonthForecast]], *, coverage: float = 0.9) -> PartMonth:
    """Return the pieces for (pieces in a kit, kits forecast), all of one month.

    Raises InputRefused for no forecast, for several months, or for a kit without a piece.
    """
    months = {kit.month for _pieces, kit in kits}
    if len(months) != 1 or any(pieces < 1 for pieces, _kit in kits):
        raise InputRefused("Give forecasts of one month, each with at least one piece in a kit.")
    expected = fsum(pieces * kit.expected for pieces, kit in kits)
    # Pieces of one kit are asked for together: n pieces multiply the variance of the kits by n
    # squared.
    spread = sqrt(fsum(pieces**2 * kit.variance for pieces, kit in kits))
    reach = normal_quantile(coverage) * spread
    return PartMonth(
        month=months.pop(),
        expected=expected,
        low=max(0, floor(expected - reach)),
        high=ceil(expected + reach),
    )


def thinned(kits: MonthForecast, share: float) -> MonthForecast:
    """Return the kits of a month of which each has a part with probability `share`.

    Of N kits with mean m and variance v, mean s m and variance s^2 v + s (1 - s) m (law of total
    variance). The limits are cut to the share and widened to whole kits.

    Raises InputRefused for a share outside 0 to 1.
    """
    if not 0 <= share <= 1:
        raise InputRefused("A share of the kits lies in 0 to 1.")
    return MonthForecast(
        month=kits.month,
        expected=share * kits.expected,
        from_sold=share * kits.from_sold,
        variance=share**2 * kits.variance + share * (1 - share) * kits.expected,
        low=floor(share * kits.low),
        high=ceil(share * kits.high),
    )
