"""Yield by step, proportions spoiled with limits, and causes in order.

The pairs that enter a step are those that came good out of the one before, so that the product of
the steps' yields (rolled throughput yield) is the share that came through all of them. Limits are
those of a chart of proportions, three standard deviations of a binomial share about the mean of
all, each for its own number of pairs (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.3.2).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

SIGMAS = 3.0
# Own choice: fewer batches give limits that say nothing.
BATCHES_MIN = 5
# Below five expected the normal limits are rough (common practice, no source).
EXPECTED_MIN = 5.0


@dataclass(frozen=True, slots=True)
class StepYield:
    """What entered a step and what was spoiled there, in pairs."""

    step: str
    entered: int
    spoiled: int

    @property
    def share(self) -> float | None:
        """The share that came good out of the step; None where nothing entered."""
        return (self.entered - self.spoiled) / self.entered if self.entered else None


def step_yields(
    steps: Sequence[str], spoiled: Mapping[str, int], *, good_after_first: int
) -> list[StepYield]:
    """Return the yields of the steps in order; `good_after_first` came good out of the first.

    ValueError when more were spoiled than entered.
    """
    first, *later = steps
    found = [StepYield(first, good_after_first + spoiled.get(first, 0), spoiled.get(first, 0))]
    left = good_after_first
    for step in later:
        found.append(StepYield(step, left, spoiled.get(step, 0)))
        left -= spoiled.get(step, 0)
    if good_after_first < 0 or left < 0:
        raise ValueError("more pairs were spoiled than there were")
    return found


def rolled(yields: Sequence[StepYield]) -> float | None:
    """Return the rolled throughput yield, 0 to 1; None where nothing was begun."""
    shares = [one.share for one in yields]
    if shares[0] is None:
        return None
    # A step that nothing reached spoils nothing: what was lost before it is in the product.
    return math.prod(share for share in shares if share is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Proportion:
    """A share of `size` pairs, with the limits for that size; `is_rough` where few are expected."""

    share: float
    size: int
    low: float
    high: float
    is_rough: bool

    @property
    def is_outside(self) -> bool:
        return not self.low <= self.share <= self.high


@dataclass(frozen=True, slots=True)
class Proportions:
    """The mean share of all, and each share in order."""

    mean: float
    each: tuple[Proportion, ...]


def proportions(counts: Sequence[tuple[int, int]]) -> Proportions | None:
    """Return shares from (spoiled, pairs), in order of making; None with fewer than five.

    ValueError for a size below one, or more spoiled than there were.
    """
    if any(not 0 <= spoiled <= size or size < 1 for spoiled, size in counts):
        raise ValueError("of some pairs, none to all are spoiled")
    if len(counts) < BATCHES_MIN:
        return None
    mean = sum(spoiled for spoiled, _size in counts) / sum(size for _spoiled, size in counts)
    return Proportions(mean, tuple(_proportion(mean, *count) for count in counts))


def _proportion(mean: float, spoiled: int, size: int) -> Proportion:
    low, high = limits(mean, size)
    return Proportion(
        share=spoiled / size,
        size=size,
        low=low,
        high=high,
        is_rough=size * min(mean, 1 - mean) < EXPECTED_MIN,
    )


def limits(mean: float, size: int) -> tuple[float, float]:
    """Return the limits of a share of `size` about a mean, cut to 0 and 1."""
    reach = SIGMAS * math.sqrt(mean * (1 - mean) / size)
    return max(0.0, mean - reach), min(1.0, mean + reach)


@dataclass(frozen=True, slots=True)
class Cause:
    """A cause with its pairs, their share of all, and the share of it and all before it."""

    key: tuple[str, str]
    pieces: int
    share: float
    together: float


def in_order(pieces: Mapping[tuple[str, str], int]) -> list[Cause]:
    """Return the causes by their pairs, most first; of equal ones, by name."""
    whole = sum(pieces.values())
    found, together = [], 0
    for key, count in sorted(pieces.items(), key=lambda item: (-item[1], item[0])):
        together += count
        found.append(Cause(key, count, count / whole, together / whole))
    return found
