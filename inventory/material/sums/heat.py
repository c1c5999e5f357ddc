"""How many trips through the melt the material of a lot has behind it.

A spread gives, in parts per million of mass, the share that has had each number of heat passes.
Shares below half a millionth are lost to rounding, and everything from PASSES_MAX on is counted
as PASSES_MAX: with 70 % regrind in a closed loop less than a millionth gets that far. Bought-in
pellets count as no pass here, though compounding may have heated them once or twice already.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise
from typing import ClassVar, Self

from inventory.ledger.sums.shares import apportion
from inventory.wording import gettext_noop

WHOLE_PPM = 1_000_000
PASSES_MAX = 40


class BadHeatSpread(ValueError):
    """Shares that are no spread: not whole, not sorted, negative, or not adding up to one."""

    code: ClassVar[str] = "bad_heat_spread"
    template: ClassVar[str] = gettext_noop(
        "The heat passes must be whole numbers from 0 to 40, each once and in rising order, "
        "with whole shares that add up to 1 000 000."
    )

    def __init__(self) -> None:
        super().__init__(self.template)


@dataclass(frozen=True, slots=True)
class HeatSpread:
    """Pairs of (heat passes, parts per million), rising in passes and summing to 1 000 000."""

    shares: tuple[tuple[int, int], ...]

    def __post_init__(self) -> None:
        passes = [count for count, _ in self.shares]
        rising = all(a < b for a, b in pairwise(passes))
        in_range = bool(passes) and passes[0] >= 0 and passes[-1] <= PASSES_MAX
        positive = all(ppm > 0 for _, ppm in self.shares)
        if not (in_range and rising and positive and sum(p for _, p in self.shares) == WHOLE_PPM):
            raise BadHeatSpread

    @classmethod
    def from_list(cls, pairs: object) -> Self:
        """Read what `to_list` wrote; anything else raises BadHeatSpread."""
        if not isinstance(pairs, list):
            raise BadHeatSpread
        return cls(tuple(_pair(entry) for entry in pairs))

    def to_list(self) -> list[list[int]]:
        """Return pairs of [passes, ppm], fit for JSON."""
        return [[passes, ppm] for passes, ppm in self.shares]

    @property
    def mean_passes(self) -> float:
        """The mass-weighted mean number of heat passes."""
        return sum(passes * ppm for passes, ppm in self.shares) / WHOLE_PPM

    @property
    def max_passes(self) -> int:
        """The most passes of any share that is still tracked."""
        return self.shares[-1][0]

    def share_at_least(self, passes: int) -> int:
        """Return the parts per million with at least so many passes."""
        return sum(ppm for count, ppm in self.shares if count >= passes)


def of_passes(passes: int) -> HeatSpread:
    """Return the spread of material that has had the same number of passes throughout."""
    return HeatSpread(((passes, WHOLE_PPM),))


def after_melt(spread: HeatSpread) -> HeatSpread:
    """Return the spread after one more heat pass."""
    counts: Counter[int] = Counter()
    for passes, ppm in spread.shares:
        # Added and not assigned: at the upper end two shares fall together.
        counts[min(passes + 1, PASSES_MAX)] += ppm
    return HeatSpread(tuple(sorted(counts.items())))


def blend(parts: Iterable[tuple[HeatSpread, int]]) -> HeatSpread:
    """Return the spread of (spread, mass in mg) mixed evenly.

    The odd millionths go to the largest remainders, among equals to the more passes, so that
    rounding leans to the cautious side.

    Raises:
        ValueError: a mass is negative, or there is no mass at all.
    """
    weights: Counter[int] = Counter()
    for spread, mass_mg in parts:
        if mass_mg < 0:
            raise ValueError("a mass in a blend is not negative")
        for passes, ppm in spread.shares:
            # Whole numbers until the one division in `apportion`, so that the order of the parts
            # does not matter and the shares sum to exactly one million.
            weights[passes] += ppm * mass_mg
    falling = sorted(weights, reverse=True)
    shares = apportion(WHOLE_PPM, [weights[passes] for passes in falling])
    kept = [(passes, ppm) for passes, ppm in zip(falling, shares, strict=True) if ppm]
    return HeatSpread(tuple(reversed(kept)))


def _pair(entry: object) -> tuple[int, int]:
    # `type` and not `isinstance`, for True is an int too and JSON has it.
    if not isinstance(entry, list) or [type(figure) for figure in entry] != [int, int]:
        raise BadHeatSpread
    return entry[0], entry[1]
