"""How far each number behind a grading may be off before another way wins.

One number is moved at a time, everything else stays as it is, and the plans are compared again
exactly as the decision compares them. Looked at from nothing up to four times today's value.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from fractions import Fraction
from math import ceil, floor
from typing import Final

from returns.grading.sums.costs import Costs, costs_for, stripping_minor
from returns.grading.sums.facts import PPM, Prices, Remedy
from returns.grading.sums.plans import Plan, spares_minor

RANGE_FACTOR: Final = 4
ODDS_STEP_PPM: Final = 1000
# A side is looked at in so many parts, so that a way that wins in between only is not missed.
PARTS: Final = 4


class Way(StrEnum):
    """What money says: mend now, wait for the parts to mend, or do not mend."""

    MEND = "mend"
    WAIT = "wait"
    REPLACE = "replace"


class Number(StrEnum):
    """A number that a person may doubt; its unit is in the name."""

    MINUTES = "minutes"
    ODDS_PPM = "odds_ppm"
    LABOUR_MINOR_PER_HOUR = "labour_minor_per_hour"
    PART_MINOR = "part_minor"
    POSTAGE_OUT_MINOR = "postage_out_minor"
    MATERIAL_MINOR_PER_KG = "material_minor_per_kg"
    NEW_FRAME_COST_MINOR = "new_frame_cost_minor"
    CEILING_MINOR = "ceiling_minor"


@dataclass(frozen=True, slots=True)
class Threshold:
    """Where the way changes if one number alone is another.

    `subject` is the remedy or part whose number it is. `at` is the value nearest to `now`, in
    whole minutes, cents or tenths of a percent, from which `then` wins; both are None where the
    range looked at holds none.
    """

    number: Number
    subject: str
    now: Fraction
    at: int | None = None
    then: Way | None = None

    @property
    def distance(self) -> Fraction | None:
        """How far `at` is from `now`, as a share of `now`."""
        return abs(self.at - self.now) / self.now if self.at is not None and self.now else None


@dataclass(frozen=True, slots=True)
class Weighing:
    """The plans compared and the prices they were compared at."""

    plans: Sequence[Plan]
    prices: Prices
    mass_mg: int
    strip_minutes: int = 0

    def way(self) -> Way:
        """Return what money says of these plans, by the rule of the decision itself."""
        costs = costs_for(self.prices, self.mass_mg)
        in_stock = (plan for plan in self.plans if not plan.missing)
        if any(self._is_within(plan, costs) for plan in in_stock):
            return Way.MEND
        within = any(self._is_within(plan, costs) for plan in self.plans if plan.missing)
        return Way.WAIT if within else Way.REPLACE

    def _is_within(self, plan: Plan, costs: Costs) -> bool:
        # The plan's own sums are not read: they belong to the numbers as they were before one was
        # moved.
        minutes, odds = Fraction(0), Fraction(1)
        for remedy in plan.remedies:
            minutes += remedy.minutes
            odds *= remedy.odds
        mend_minor = costs.labour_minor(minutes) + spares_minor(plan.parts, self.prices)
        return costs.expected_minor(mend_minor, odds) <= costs.ceiling_minor

    def with_remedy(self, remedy: Remedy) -> Weighing:
        """The same, with another remedy of the same key in each plan that uses it."""
        return replace(self, plans=[_with_remedy(plan, remedy) for plan in self.plans])

    def with_labour(self, minor_per_hour: int) -> Weighing:
        """The same at another wage; taking a frame apart is paid by it too."""
        prices = self.prices
        before_minor = stripping_minor(prices.labour_minor_per_hour, self.strip_minutes)
        strip_minor = stripping_minor(minor_per_hour, self.strip_minutes)
        return self.with_prices(
            labour_minor_per_hour=minor_per_hour,
            # Only the part paid by the hour moves; what else is in the grinding cost stays.
            regrind_cost_minor=max(0, prices.regrind_cost_minor - before_minor) + strip_minor,
        )

    def with_part(self, part: str, minor: int) -> Weighing:
        """The same with one part at another price."""
        return self.with_prices(part_minor={**self.prices.part_minor, part: minor})

    def with_prices(self, **changes: object) -> Weighing:
        """The same at other prices."""
        return replace(self, prices=replace(self.prices, **changes))  # type: ignore[arg-type]


def thresholds(weighing: Weighing, plan: Plan) -> tuple[Threshold, ...]:
    """Where each number behind the plan weighed tips the decision, the nearest one first.

    `strip_minutes` of the weighing is the bench time in `regrind_cost_minor`, which the wage
    moves with it. Numbers that never tip come last.
    """
    way = weighing.way()
    found = [_threshold(way, *moved) for moved in _numbers(weighing, plan)]
    return tuple(sorted(found, key=lambda one: (one.distance is None, one.distance or 0)))


Moved = Callable[[int], Weighing]


def _numbers(weighing: Weighing, plan: Plan) -> Iterator[tuple[Number, str, Fraction, Moved]]:
    """Each number with its subject, its value now, and the weighing at another value of it."""
    for remedy in plan.remedies:
        yield Number.MINUTES, remedy.key, remedy.minutes, _minutes(weighing, remedy)
        yield Number.ODDS_PPM, remedy.key, remedy.odds * PPM, _odds(weighing, remedy)
    prices = weighing.prices
    for part in plan.parts:
        now = Fraction(prices.part_minor[part])
        yield Number.PART_MINOR, part, now, _part(weighing, part)
    labour = Fraction(prices.labour_minor_per_hour)
    yield Number.LABOUR_MINOR_PER_HOUR, "", labour, weighing.with_labour
    for number in (
        Number.POSTAGE_OUT_MINOR,
        Number.MATERIAL_MINOR_PER_KG,
        Number.NEW_FRAME_COST_MINOR,
    ):
        yield number, "", Fraction(getattr(prices, number)), _price(weighing, number)
    ceiling = Fraction(costs_for(prices, weighing.mass_mg).ceiling_minor)
    yield Number.CEILING_MINOR, "", ceiling, _price(weighing, Number.CEILING_MINOR)


def _minutes(weighing: Weighing, remedy: Remedy) -> Moved:
    return lambda at: weighing.with_remedy(replace(remedy, minutes=Fraction(at)))


def _odds(weighing: Weighing, remedy: Remedy) -> Moved:
    return lambda at: weighing.with_remedy(replace(remedy, odds=Fraction(at, PPM)))


def _part(weighing: Weighing, part: str) -> Moved:
    return lambda at: weighing.with_part(part, at)


def _price(weighing: Weighing, number: Number) -> Moved:
    return lambda at: weighing.with_prices(**{number.value: at})


def _with_remedy(plan: Plan, remedy: Remedy) -> Plan:
    kept = tuple(remedy if one.key == remedy.key else one for one in plan.remedies)
    return replace(plan, remedies=kept)


def _threshold(way: Way, number: Number, subject: str, now: Fraction, moved: Moved) -> Threshold:
    step = ODDS_STEP_PPM if number is Number.ODDS_PPM else 1
    end = Fraction(PPM) if number is Number.ODDS_PPM else now * RANGE_FACTOR

    def way_at(place: int) -> Way:
        return moved(place * step).way()

    # Whole steps on both sides of today's value, which itself may lie between two.
    below = _first_other(way, way_at, (ceil(now / step) - 1, 0, -1))
    above = _first_other(way, way_at, (floor(now / step) + 1, floor(end / step), 1))
    found = [place * step for place in (below, above) if place is not None]
    if not found or not now:
        return Threshold(number, subject, now)
    at = min(found, key=lambda value: abs(value - now))
    return Threshold(number, subject, now, at, moved(at).way())


def _first_other(way: Way, way_at: Callable[[int], Way], side: tuple[int, int, int]) -> int | None:
    """The place on one side (start, end, direction) from which on another way wins, if any.

    Its neighbour towards the start still has the same way.
    """
    start, end, sign = side
    if (end - start) * sign < 0:
        return None
    same = start - sign
    for part in range(PARTS + 1):
        other = start + (end - start) * part // PARTS
        if way_at(other) is not way:
            return _halved(way, way_at, same, other)
        same = other
    return None


def _halved(way: Way, way_at: Callable[[int], Way], same: int, other: int) -> int:
    """The neighbour of a place with the same way that has another one, between the two."""
    # The way may change more than once between the two. Halving finds one of these places, not
    # always the nearest.
    while abs(other - same) > 1:
        middle = (same + other) // 2
        if way_at(middle) is way:
            same = middle
        else:
            other = middle
    return other
