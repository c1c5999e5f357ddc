"""How much will be sold in the months to come, from what was sold so far.

The level of the last months, grown as it did of late but ever more slowly, times a factor of the
month of the year once two years exist: ratios to the centred moving average (NIST/SEMATECH
e-Handbook 6.4.4, second-hand). Growth and factors are taken only as far as chance does not explain
them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import fmean

from returns.figures.claims.sums.claims import InputRefused

# The workshop's own choices.
LEVEL_MONTHS = 6
DAMPING = 0.95
SURPRISE = 0.1
FACTOR_LEAST = 0.05


@dataclass(frozen=True, slots=True)
class Sales:
    """Units expected to be sold in each month to come, and how unsure the level of all is.

    `level_sd` is a relative standard deviation; `dispersion` is variance over mean of one month.
    """

    expected: tuple[float, ...]
    level_sd: float
    dispersion: float


def seasonal_indices(values: Sequence[float], period: int) -> tuple[float, ...]:
    """Return the factor of each place in the period, of mean 1, from whole and half periods.

    Ratios to the centred moving average, averaged by place and scaled. Raises InputRefused for less
    than two periods. The first factor is that of the first value.
    """
    if period < 2 or len(values) < 2 * period:
        raise InputRefused("Seasonal factors need two whole periods.")
    half = period // 2
    ratios: list[list[float]] = [[] for _place in range(period)]
    for at in range(half, len(values) - half):
        window = values[at - half : at + half + 1]
        # An even period has no middle: the two ends count by half, so that each place counts once.
        ends = (window[0] + window[-1]) / 2 if period % 2 == 0 else window[-1]
        middle = (math.fsum(window[1:-1]) + ends) if period % 2 == 0 else math.fsum(window)
        if middle:
            ratios[at % period].append(values[at] * period / middle)
    means = [fmean(found) if found else 1.0 for found in ratios]
    scale = period / (math.fsum(means) or 1.0)
    return tuple(mean * scale for mean in means)


def project(counts: Sequence[int], months: int) -> Sales:
    """Return what to expect of the `months` after the last of `counts`, one a month without gaps.

    Raises InputRefused without a month, or for counts below zero.
    """
    if not counts or min(counts) < 0:
        raise InputRefused("Give at least one month of sales, none below zero.")
    factors = _factors(counts)
    level = [count / factors[at % 12] for at, count in enumerate(counts)]
    span = min(LEVEL_MONTHS, max(1, len(level) // 2))
    late, early = level[-span:], level[-2 * span : -span]
    mean = fmean(late)
    if not mean:
        return Sales((0.0,) * months, 0.0, 1.0)
    spread = _dispersion(level)
    growth, growth_variance = _growth(early, late, spread)
    # From the middle of the last months to their end, and on with ever smaller steps.
    steps, expected = (span - 1) / 2, []
    for ahead in range(months):
        steps += DAMPING**ahead
        factor = factors[(len(counts) + ahead) % 12]
        expected.append(mean * math.exp(growth * steps) * factor)
    unsure = spread / (span * mean) + growth_variance * LEVEL_MONTHS**2 + SURPRISE**2
    return Sales(tuple(expected), math.sqrt(unsure), spread)


def _factors(counts: Sequence[int]) -> Sequence[float]:
    if len(counts) < 24:
        return (1.0,) * 12
    raw = seasonal_indices(counts, 12)
    # Each place is the mean of about so many months; a Poisson count of mean m has a relative
    # variance of 1 / m.
    known = fmean(counts) * (len(counts) - 12) / 12
    if not known:
        return (1.0,) * 12
    between = max(0.0, math.fsum((f - 1) ** 2 for f in raw) / 11 - 1 / known)
    kept = between / (between + 1 / known)
    return [max(FACTOR_LEAST, 1 + (factor - 1) * kept) for factor in raw]


def _dispersion(level: Sequence[float]) -> float:
    late = level[-12:]
    if len(late) < 3 or not fmean(late):
        return 1.0
    # Of neighbours' differences, so that a trend is not taken for scatter.
    steps = [(b - a) ** 2 / 2 for a, b in pairwise(late)]
    return max(1.0, fmean(steps) / fmean(late))


def _growth(early: Sequence[float], late: Sequence[float], spread: float) -> tuple[float, float]:
    """Return growth a month as a log, drawn towards none by what chance explains; its variance."""
    if not early or not fmean(early) or not fmean(late):
        return 0.0, 0.0
    span = len(late)
    growth = math.log(fmean(late) / fmean(early)) / span
    variance = spread * (1 / math.fsum(late) + 1 / math.fsum(early)) / span**2
    kept = max(0.0, 1 - variance / growth**2) if growth else 0.0
    return growth * kept, variance * kept
