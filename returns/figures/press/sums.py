"""Plans the press over weeks: which material goes into which week's batch, at least cost.

A linear programme over all weeks at once (HiGHS by scipy): a lot that is better kept for a later
week is kept. Material that is forecast to come may go into no week before it comes. Heat passes
are counted as fed, before the melt that the batch is for; melt flow mixes by its logarithm.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import accumulate

from inventory.material.sums.mixing import Easing, Problem, Row, cheapest, least_easing
from returns.figures.claims.sums.claims import InputRefused

WEEKS_MAX = 12
SOURCES_MAX = 60
LEAST_KG = 0.001


class Promise(StrEnum):
    """What the owner promises of every batch."""

    RETURNED = "returned"
    PASSES = "passes"
    FLOW_MIN = "flow_min"
    FLOW_MAX = "flow_max"


@dataclass(frozen=True, slots=True, kw_only=True)
class Source:
    """Material: how much of it (None: as much as is bought), from which week on (0 is now), its
    mean heat passes, melt flow in g/10 min where known, whether it came back from customers, and
    what a kilogram costs in minor units."""

    key: str
    kg: float | None
    week: int
    passes: float
    flow: float | None
    is_returned: bool
    minor_per_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """Kilograms of each week, and the promises; None leaves one out. Shares are 0 to 1."""

    kg: tuple[float, ...]
    returned_min: float | None = None
    passes_max: float | None = None
    flow_min: float | None = None
    flow_max: float | None = None

    def __post_init__(self) -> None:
        flows = [flow for flow in (self.flow_min, self.flow_max) if flow is not None]
        shares = [] if self.returned_min is None else [self.returned_min]
        fits = (
            0 < len(self.kg) <= WEEKS_MAX
            and all(math.isfinite(kg) and kg > 0 for kg in self.kg)
            and all(flow > 0 for flow in flows)
            and flows == sorted(flows)
            and all(0 <= share <= 1 for share in shares)
        )
        if not fits:
            raise InputRefused("The wanted masses and promises do not fit together.")


@dataclass(frozen=True, slots=True)
class Portion:
    """So much of a source into one week's batch."""

    week: int
    key: str
    kg: float


@dataclass(frozen=True, slots=True)
class Broken:
    """A promise that cannot be kept in a week, and what it would have to be. For melt flow and
    passes in their unit, for the returned share 0 to 1."""

    promise: Promise
    week: int
    promised: float
    possible: float


@dataclass(frozen=True, slots=True)
class Plan:
    """Portions by week at least cost; or, without any, the promises that stand in the way, or by
    how much material is short in the first week that lacks some."""

    portions: tuple[Portion, ...] = ()
    cost_minor: float = 0.0
    broken: tuple[Broken, ...] = ()
    short: tuple[int, float] | None = None
    left_out: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Rule:
    promise: Promise
    promised: float
    figure: Callable[[Source], float]
    is_least: bool
    unit: Callable[[float], float]


def plan(sources: Sequence[Source], wanted: Wanted) -> Plan:
    """Return the cheapest plan that keeps every promise in every week, or what stands in the way.

    Sources without a melt flow are left out where one is promised.
    """
    rules = _rules(wanted)
    knows_flow = any(rule.promise in {Promise.FLOW_MIN, Promise.FLOW_MAX} for rule in rules)
    used = [one for one in sources if not (knows_flow and one.flow is None)][:SOURCES_MAX]
    left_out = tuple(one.key for one in sources if one not in used)
    short = _short(used, wanted)
    if short is not None:
        return Plan(short=short, left_out=left_out)
    slots = [(one, week) for week in range(len(wanted.kg)) for one in used if one.week <= week]
    problem = _problem(slots, used, wanted, rules)
    amounts = cheapest(problem)
    if amounts is None:
        names = [row.name for row in problem.rows if ":" in row.name]
        eased = least_easing(problem, names) or ()
        return Plan(broken=tuple(_broken(one, rules, wanted) for one in eased), left_out=left_out)
    portions = tuple(
        Portion(week, one.key, kg)
        for (one, week), kg in zip(slots, amounts, strict=True)
        if kg >= LEAST_KG
    )
    cost = math.fsum(one.minor_per_kg * kg for (one, _week), kg in zip(slots, amounts, strict=True))
    return Plan(portions, cost, (), None, left_out)


def _rules(wanted: Wanted) -> list[_Rule]:
    def log_flow(one: Source) -> float:
        return math.log(one.flow or 1.0)

    def same(figure: float) -> float:
        return figure

    rules = [
        (Promise.RETURNED, wanted.returned_min, lambda s: float(s.is_returned), True, same),
        (Promise.PASSES, wanted.passes_max, lambda s: s.passes, False, same),
        (Promise.FLOW_MIN, _log(wanted.flow_min), log_flow, True, math.exp),
        (Promise.FLOW_MAX, _log(wanted.flow_max), log_flow, False, math.exp),
    ]
    return [
        _Rule(promise, promised, figure, is_least, unit)
        for promise, promised, figure, is_least, unit in rules
        if promised is not None
    ]


def _log(flow: float | None) -> float | None:
    return None if flow is None else math.log(flow)


def _short(sources: Sequence[Source], wanted: Wanted) -> tuple[int, float] | None:
    """Return the first week in which all material come by then is not enough, and by how much."""
    if any(one.kg is None for one in sources):
        return None
    for week, needed in enumerate(accumulate(wanted.kg)):
        held = math.fsum(one.kg or 0.0 for one in sources if one.week <= week)
        if held < needed:
            return week, needed - held
    return None


def _problem(
    slots: Sequence[tuple[Source, int]],
    sources: Sequence[Source],
    wanted: Wanted,
    rules: Sequence[_Rule],
) -> Problem:
    rows = [
        Row(f"week {week}", tuple(float(at == week) for _one, at in slots), kg, kg)
        for week, kg in enumerate(wanted.kg)
    ]
    rows += [
        Row(f"lot {one.key}", tuple(float(other is one) for other, _at in slots), high=one.kg)
        for one in sources
        if one.kg is not None
    ]
    for week in range(len(wanted.kg)):
        for rule in rules:
            # A share of the week's batch, moved to one side: Σ (figure - promised) · kg.
            line = tuple(
                (rule.figure(one) - rule.promised) if at == week else 0.0 for one, at in slots
            )
            name = f"{rule.promise}:{week}"
            rows.append(Row(name, line, 0.0, None) if rule.is_least else Row(name, line, None, 0.0))
    return Problem(
        costs=tuple(one.minor_per_kg for one, _at in slots),
        ceilings=(None,) * len(slots),
        rows=tuple(rows),
        total=None,
    )


def _broken(eased: Easing, rules: Sequence[_Rule], wanted: Wanted) -> Broken:
    promise, _colon, week = eased.name.partition(":")
    rule = next(one for one in rules if one.promise == promise)
    by = eased.by / wanted.kg[int(week)]
    possible = rule.promised - by if rule.is_least else rule.promised + by
    return Broken(rule.promise, int(week), rule.unit(rule.promised), rule.unit(possible))
