"""Chooses lots and masses for a recipe, oldest material first, within its limits.

Melt flow enters by the log rule, which is linear in the logarithm. Passes are counted as fed,
before the melt that the blend is for. When no blend is possible, the limits that stand in the way
are named with the value each would have to take. Masses come out as whole milligrams; a limit is
kept exactly where rounding allows and otherwise to one milligram per lot.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from math import ceil, exp, floor, fsum, log
from typing import ClassVar

from inventory.material.sums.heat import PASSES_MAX, WHOLE_PPM, HeatSpread, blend
from inventory.material.sums.melt_flow import MeltFlow, MeltFlowEstimate, blend_melt_flow
from inventory.material.sums.mixing import Easing, Problem, Row, cheapest, least_easing
from inventory.wording import gettext_noop

# Solver noise below this part of a milligram is no real fraction.
NOISE_MG = 1e-3
SLACK = 1e-9


class BadRecipe(ValueError):
    """Limits that contradict themselves or lie outside their range."""

    code: ClassVar[str] = "bad_recipe"
    template: ClassVar[str] = gettext_noop(
        "The recipe's limits do not fit together. Give a mass above zero, shares from nothing "
        "to the whole, and each lower limit below its upper one."
    )

    def __init__(self) -> None:
        super().__init__(self.template)


class LimitKind(StrEnum):
    """What can stand in the way of a blend."""

    MATERIAL_ON_HAND = "material_on_hand"
    REGRIND_SHARE = "regrind_share"
    MEAN_PASSES = "mean_passes"
    MAX_PASSES = "max_passes"
    MELT_FLOW = "melt_flow"
    COLOUR_SHARE = "colour_share"


class LeftOut(StrEnum):
    """Why a lot could not be considered."""

    EMPTY = "empty"
    TOO_MANY_PASSES = "too_many_passes"
    MELT_FLOW_UNKNOWN = "melt_flow_unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lot:
    """Material on hand; `regrind_ppm` is the share of it that counts as regrind."""

    key: str
    available_mg: int
    age_days: int
    spread: HeatSpread
    regrind_ppm: int
    colour: str
    melt_flow: MeltFlow | None = None

    def __post_init__(self) -> None:
        if not (self.available_mg >= 0 and 0 <= self.regrind_ppm <= WHOLE_PPM):
            raise ValueError("a lot has a mass that is not negative and a share within the whole")


@dataclass(frozen=True, slots=True, kw_only=True)
class ColourShare:
    """The share of one colour, in parts per million of the blend."""

    colour: str
    ppm_min: int = 0
    ppm_max: int = WHOLE_PPM

    def __post_init__(self) -> None:
        if not 0 <= self.ppm_min <= self.ppm_max <= WHOLE_PPM:
            raise BadRecipe


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """The wanted mass and its limits; None leaves a limit out. Melt flow in g/10 min."""

    total_mg: int
    regrind_ppm_max: int | None = None
    mean_passes_max: float | None = None
    passes_max: int | None = None
    melt_flow_min: float | None = None
    melt_flow_max: float | None = None
    colours: tuple[ColourShare, ...] = ()

    def __post_init__(self) -> None:
        regrind = 0 if self.regrind_ppm_max is None else self.regrind_ppm_max
        passes = (self.mean_passes_max or 0, self.passes_max or 0)
        flow_min, flow_max = self.melt_flow_min, self.melt_flow_max
        flow_fits = all(flow is None or flow > 0 for flow in (flow_min, flow_max))
        if flow_fits and flow_min is not None and flow_max is not None:
            flow_fits = flow_min <= flow_max
        colours = [limit.colour for limit in self.colours]
        if not (self.total_mg > 0 and 0 <= regrind <= WHOLE_PPM and min(passes) >= 0 and flow_fits):
            raise BadRecipe
        if len(colours) != len(set(colours)):
            raise BadRecipe


@dataclass(frozen=True, slots=True)
class Blend:
    """Lots with their masses in mg, and what the blend of them is."""

    portions: tuple[tuple[str, int], ...]
    spread: HeatSpread
    regrind_ppm: float
    melt_flow: MeltFlowEstimate | None
    left_out: tuple[tuple[str, LeftOut], ...]


@dataclass(frozen=True, slots=True)
class Obstacle:
    """A limit and the value it would have to take, in the unit of the recipe.

    `subject` is the colour meant. For material on hand the bound is the wanted mass and `eased_to`
    the most that can be mixed within the other limits, both in mg.
    """

    limit: LimitKind
    subject: str
    bound: float
    eased_to: float

    @property
    def by(self) -> float:
        """How far the limit is missed."""
        return abs(self.eased_to - self.bound)


class ImpossibleRecipe(ValueError):
    """No blend keeps all limits.

    Each obstacle in `alone` makes the recipe possible if it alone gives way. Where no share, pass
    or flow limit does so alone, `together` holds the least easing of several at once.
    """

    code: ClassVar[str] = "impossible_recipe"
    template: ClassVar[str] = gettext_noop(
        "No blend of the lots on hand keeps all limits. Ease one of the limits named, mix less, "
        "or wait for more material."
    )

    def __init__(self, alone: tuple[Obstacle, ...], together: tuple[Obstacle, ...]) -> None:
        self.alone = alone
        self.together = together
        super().__init__(self.template)


@dataclass(frozen=True, slots=True)
class _Limit:
    """A limit as a row over shares of the total, with the way back to the recipe's unit."""

    kind: LimitKind
    subject: str
    of: Callable[[Lot], float]
    low: float | None
    high: float | None
    unit: Callable[[float, bool], float]


def choose(lots: Sequence[Lot], recipe: Recipe) -> Blend:
    """Choose lots and masses, oldest first, that sum to the recipe's mass exactly.

    Raises:
        ImpossibleRecipe: no blend keeps the limits; it says which ones stand in the way.
        ValueError: two lots share a key.
    """
    if len({lot.key for lot in lots}) != len(lots):
        raise ValueError("each lot has its own key")
    # Sorted by key, so that the same lots give the same blend in whatever order they were read.
    usable, left_out = _usable(sorted(lots, key=lambda lot: lot.key), recipe)
    masses_mg = _masses_mg(usable, recipe)
    if masses_mg is None:
        raise ImpossibleRecipe(*_obstacles(lots, usable, recipe))
    used = [(lot, mass) for lot, mass in zip(usable, masses_mg, strict=True) if mass]
    flows = [(lot.melt_flow, mass) for lot, mass in used if lot.melt_flow is not None]
    regrind = sum(lot.regrind_ppm * mass for lot, mass in used)
    return Blend(
        portions=tuple((lot.key, mass) for lot, mass in used),
        spread=blend([(lot.spread, mass) for lot, mass in used]),
        regrind_ppm=regrind / recipe.total_mg,
        melt_flow=blend_melt_flow(flows) if len(flows) == len(used) else None,
        left_out=left_out,
    )


def _usable(
    lots: Sequence[Lot], recipe: Recipe
) -> tuple[list[Lot], tuple[tuple[str, LeftOut], ...]]:
    reasons = {lot.key: _reason(lot, recipe) for lot in lots}
    left_out = tuple((key, reason) for key, reason in reasons.items() if reason is not None)
    return [lot for lot in lots if reasons[lot.key] is None], left_out


def _reason(lot: Lot, recipe: Recipe) -> LeftOut | None:
    if not lot.available_mg:
        return LeftOut.EMPTY
    if recipe.passes_max is not None and lot.spread.max_passes > recipe.passes_max:
        return LeftOut.TOO_MANY_PASSES
    flow_matters = recipe.melt_flow_min is not None or recipe.melt_flow_max is not None
    return LeftOut.MELT_FLOW_UNKNOWN if flow_matters and lot.melt_flow is None else None


def _limits(recipe: Recipe) -> list[_Limit]:
    limits = [_colour_limit(share) for share in recipe.colours]
    if recipe.regrind_ppm_max is not None:
        high = recipe.regrind_ppm_max / WHOLE_PPM
        kind = LimitKind.REGRIND_SHARE
        limits.append(_Limit(kind, "", lambda lot: lot.regrind_ppm / WHOLE_PPM, None, high, _ppm))
    if recipe.mean_passes_max is not None:
        high, kind = recipe.mean_passes_max, LimitKind.MEAN_PASSES
        limits.append(_Limit(kind, "", lambda lot: lot.spread.mean_passes, None, high, _plain))
    if recipe.melt_flow_min is not None or recipe.melt_flow_max is not None:
        low = None if recipe.melt_flow_min is None else log(recipe.melt_flow_min)
        top = None if recipe.melt_flow_max is None else log(recipe.melt_flow_max)
        limits.append(_Limit(LimitKind.MELT_FLOW, "", _log_flow, low, top, _rate))
    return limits


def _colour_limit(share: ColourShare) -> _Limit:
    low, high = share.ppm_min / WHOLE_PPM, share.ppm_max / WHOLE_PPM
    return _Limit(
        LimitKind.COLOUR_SHARE,
        share.colour,
        lambda lot: float(lot.colour == share.colour),
        low or None,
        high if share.ppm_max < WHOLE_PPM else None,
        _ppm,
    )


def _log_flow(lot: Lot) -> float:
    if lot.melt_flow is None:
        raise ValueError("a lot without a melt flow is left out before")
    return log(lot.melt_flow.rate)


def _ppm(share: float, upward: bool) -> float:
    """Round outward, so that the eased limit really is enough."""
    # The margin takes in the solver's own noise: a limit that is met exactly must not be shown as
    # one millionth more.
    ppm = share * WHOLE_PPM
    return ceil(ppm - 1e-4) if upward else floor(ppm + 1e-4)


def _plain(figure: float, upward: bool) -> float:
    return figure + SLACK if upward else figure - SLACK


def _rate(logarithm: float, upward: bool) -> float:
    return exp(_plain(logarithm, upward))


def _problem(lots: Sequence[Lot], recipe: Recipe, margin_mg: int = 0) -> Problem:
    """Return the recipe over shares of its total, tightened by what rounding may cost."""
    oldest = max((lot.age_days for lot in lots), default=0) or 1
    rows = []
    for index, limit in enumerate(_limits(recipe)):
        coefficients = tuple(limit.of(lot) for lot in lots)
        # Rounding moves each lot by up to `margin_mg`, and so the row by no more than this.
        margin = margin_mg * fsum(map(abs, coefficients)) / recipe.total_mg
        low = None if limit.low is None else limit.low + margin
        high = None if limit.high is None else limit.high - margin
        rows.append(Row(str(index), coefficients, low, high))
    return Problem(
        # The solver takes the cheapest mixture; a cost that falls with age makes that the oldest.
        # Ages are scaled to at most 1, since solvers judge optimality by absolute tolerances.
        costs=tuple(-lot.age_days / oldest for lot in lots),
        ceilings=tuple(min(1.0, lot.available_mg / recipe.total_mg) for lot in lots),
        rows=tuple(rows),
    )


def _masses_mg(lots: Sequence[Lot], recipe: Recipe) -> tuple[int, ...] | None:
    """Try the exact optimum, then one with room for rounding, then accept a milligram per lot."""
    if sum(lot.available_mg for lot in lots) < recipe.total_mg:
        return None
    shares = cheapest(_problem(lots, recipe))
    if shares is None:
        return None
    first = _rounded(shares, lots, recipe)
    if _keeps_limits(first, lots, recipe):
        return first
    roomy = cheapest(_problem(lots, recipe, margin_mg=1))
    second = first if roomy is None else _rounded(roomy, lots, recipe)
    return second if _keeps_limits(second, lots, recipe) else first


def _rounded(shares: Sequence[float], lots: Sequence[Lot], recipe: Recipe) -> tuple[int, ...]:
    exact = [share * recipe.total_mg for share in shares]
    masses = [
        min(floor(e + NOISE_MG), lot.available_mg) for e, lot in zip(exact, lots, strict=True)
    ]
    # Largest remainder first, as in `apportion`, but no lot may give more than it holds or less
    # than nothing; so it may take several rounds. It ends, for the lots together hold enough.
    order = sorted(range(len(lots)), key=lambda i: masses[i] - exact[i])
    missing = recipe.total_mg - sum(masses)
    while missing:
        step = 1 if missing > 0 else -1
        for index in order if step > 0 else reversed(order):
            fits = 0 <= masses[index] + step <= lots[index].available_mg
            if missing and fits:
                masses[index] += step
                missing -= step
    return tuple(masses)


def _keeps_limits(masses_mg: Sequence[int], lots: Sequence[Lot], recipe: Recipe) -> bool:
    for limit in _limits(recipe):
        parts = zip(masses_mg, lots, strict=True)
        value = fsum(mass * limit.of(lot) for mass, lot in parts) / recipe.total_mg
        # The sum of floats may miss a limit that is met exactly by its last digits.
        if limit.high is not None and value > limit.high + 1e-12:
            return False
        if limit.low is not None and value < limit.low - 1e-12:
            return False
    return True


def _obstacles(
    lots: Sequence[Lot], usable: Sequence[Lot], recipe: Recipe
) -> tuple[tuple[Obstacle, ...], tuple[Obstacle, ...]]:
    alone = tuple(_passes_obstacle(lots, recipe))
    if not usable:
        return alone, ()
    limits, problem = _limits(recipe), _problem(usable, recipe)

    def eased(names: Sequence[str]) -> tuple[Obstacle, ...]:
        found = least_easing(problem, names) or ()
        return tuple(_obstacle(limits[int(easing.name)], easing) for easing in found)

    names = [row.name for row in problem.rows]
    alone += tuple(obstacle for name in names for obstacle in eased([name]))
    together = () if alone else eased(names)
    most_mg = _most_mg(usable, recipe)
    on_hand = Obstacle(LimitKind.MATERIAL_ON_HAND, "", recipe.total_mg, most_mg)
    return ((*alone, on_hand) if most_mg else alone), together


def _obstacle(limit: _Limit, easing: Easing) -> Obstacle:
    bound = (limit.high if easing.upward else limit.low) or 0.0
    eased = bound + easing.by if easing.upward else bound - easing.by
    exactly = limit.unit(bound, easing.upward)
    return Obstacle(limit.kind, limit.subject, exactly, limit.unit(eased, easing.upward))


def _passes_obstacle(lots: Sequence[Lot], recipe: Recipe) -> list[Obstacle]:
    """Return the lowest limit on a lot's passes that would let enough lots in."""
    if recipe.passes_max is None:
        return []
    # No row of the linear problem: this limit lets whole lots in or out, so it is tried step by
    # step.
    for passes in range(recipe.passes_max + 1, PASSES_MAX + 1):
        eased = replace(recipe, passes_max=passes)
        if _masses_mg(_usable(lots, eased)[0], eased) is not None:
            return [Obstacle(LimitKind.MAX_PASSES, "", recipe.passes_max, passes)]
    return []


def _most_mg(lots: Sequence[Lot], recipe: Recipe) -> int:
    """Return the largest mass that can be mixed within the other limits, in whole milligrams."""
    rows = []
    for limit in _limits(recipe):
        values = [limit.of(lot) for lot in lots]
        # A share of the total, moved to one side, holds for any total.
        if limit.low is not None:
            rows.append(Row("", tuple(value - limit.low for value in values), low=0.0))
        if limit.high is not None:
            rows.append(Row("", tuple(value - limit.high for value in values), high=0.0))
    ceilings = tuple(lot.available_mg / recipe.total_mg for lot in lots)
    shares = cheapest(Problem((-1.0,) * len(lots), ceilings, tuple(rows), total=None))
    most_mg = floor(fsum(shares or ()) * recipe.total_mg + NOISE_MG)
    possible = most_mg > 0 and _masses_mg(lots, replace(recipe, total_mg=most_mg)) is not None
    # Noise may have lifted a fraction of a milligram to a whole one too many.
    return most_mg if possible else max(most_mg - 1, 0)
