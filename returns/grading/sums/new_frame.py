"""What a new frame costs to make, from the batches that were made: material, work, parts, overhead.

Of several batches it is all their costs together over all the pairs that came good out of every
step: a mean weighed by pairs. Rounded up to whole minor units, as costs are. Standard costing by
actual consumption is common practice; no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Final

MG_PER_KG: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class MadeBatch:
    """What a batch took: material that stayed in it or was wasted, in mg, and minutes of work.

    `good` is the pairs that came through every step.
    """

    good: int
    material_mg: int
    minutes: int


@dataclass(frozen=True, slots=True)
class UnitPrices:
    """Prices in minor units: material by the kilogram, work by the hour; bought parts and overhead
    by the frame."""

    material_minor_per_kg: int
    labour_minor_per_hour: int
    parts_minor: int
    overhead_minor: int


@dataclass(frozen=True, slots=True)
class NewFrame:
    """What a new frame costs in minor units, and what it cost in the cheapest and dearest batch."""

    cost_minor: int
    material_minor: int
    labour_minor: int
    parts_minor: int
    overhead_minor: int
    low_minor: int
    high_minor: int
    batches: int


def measured(made: Sequence[MadeBatch], prices: UnitPrices) -> NewFrame | None:
    """Return the cost by these batches; None when no pair of them came good.

    ValueError for a mass, a time or a price below zero.
    """
    figures = [figure for one in made for figure in (one.good, one.material_mg, one.minutes)]
    if min(*figures, prices.material_minor_per_kg, prices.labour_minor_per_hour, 0) < 0:
        raise ValueError("masses, times and prices are not below zero")
    usable = [one for one in made if one.good]
    if not usable:
        return None
    # A batch that was lost whole cost as much as any: its cost is borne by the good pairs.
    good = sum(one.good for one in made)
    material = _material(sum(one.material_mg for one in made), good, prices)
    labour = _labour(sum(one.minutes for one in made), good, prices)
    fixed = prices.parts_minor + prices.overhead_minor
    each = [
        ceil(_material(one.material_mg, one.good, prices) + _labour(one.minutes, one.good, prices))
        for one in usable
    ]
    cost_minor = ceil(material + labour) + fixed
    return NewFrame(
        cost_minor=cost_minor,
        # The residue of the rounding is labour's, so that the lines add up.
        material_minor=int(material),
        labour_minor=cost_minor - fixed - int(material),
        parts_minor=prices.parts_minor,
        overhead_minor=prices.overhead_minor,
        low_minor=min(each) + fixed,
        high_minor=max(each) + fixed,
        batches=len(made),
    )


def _material(mass_mg: int, good: int, prices: UnitPrices) -> Fraction:
    return Fraction(mass_mg * prices.material_minor_per_kg, MG_PER_KG * good)


def _labour(minutes: int, good: int, prices: UnitPrices) -> Fraction:
    return Fraction(minutes * prices.labour_minor_per_hour, 60 * good)
