"""Which lots on hand to take for a recipe and how much, or which limit forbids it. Reads only.

Regrind, for the limit on its share, is in-process scrap and ground returns together.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from datetime import datetime
from math import sqrt
from typing import Final

from inventory.material.sums import blending, heat
from inventory.material.sums.blending import Blend, ImpossibleRecipe, LeftOut, Obstacle, Recipe
from inventory.material.sums.heat import WHOLE_PPM, HeatSpread
from inventory.material.sums.melt_flow import MeltFlow
from inventory.models import Lot, Origin, Polymer

LOTS_MAX: Final = 60
"""How many lots are considered, the oldest first: as many as the form for issuing shows."""
LOT_MIN_MG: Final = 1_000
"""Own choice: what is left of a lot under a gram is not worth the weighing."""
REGRIND: Final = frozenset({Origin.IN_PROCESS, Origin.RETURN})


@dataclass(frozen=True, slots=True)
class Portion:
    """A lot with the mass to take of it and what it holds, in mg."""

    lot: Lot
    mass_mg: int
    held_mg: int


@dataclass(frozen=True, slots=True)
class Answer:
    """Either a blend with its portions, the oldest lot first, and its heat passes once moulded; or
    the obstacles: easing one of `alone` is enough, those of `together` must all be eased."""

    blend: Blend | None
    portions: tuple[Portion, ...]
    moulded: HeatSpread | None
    left_out: tuple[tuple[Lot, LeftOut], ...]
    alone: tuple[Obstacle, ...]
    together: tuple[Obstacle, ...]
    lots: int


def compute(
    *, polymer: Polymer, recipe: Recipe, at: datetime, colours: Collection[str] | None = None
) -> Answer:
    """Choose among the lots of one polymer that hold enough to weigh; ages are counted at `at`.

    `colours` are the codes of those that may go in; None lets every colour in.
    """
    rows = Lot.objects.filter(polymer=polymer, place__balance__quantity__gte=LOT_MIN_MG)
    if colours is not None:
        rows = rows.filter(colour__code__in=colours)
    # The cached balance will do for a proposal: what is issued is weighed and checked again.
    rows = rows.select_related("colour", "polymer", "place__balance").order_by("made_at", "code")
    lots = {lot.code: lot for lot in rows[:LOTS_MAX]}
    try:
        blend = blending.choose([_lot(lot, at) for lot in lots.values()], recipe)
    except ImpossibleRecipe as error:
        return Answer(None, (), None, (), error.alone, error.together, len(lots))
    masses = dict(blend.portions)
    return Answer(
        blend=blend,
        portions=tuple(
            Portion(lot, masses[code], _held_mg(lot))
            for code, lot in lots.items()
            if code in masses
        ),
        moulded=heat.after_melt(blend.spread),
        left_out=tuple((lots[code], reason) for code, reason in blend.left_out),
        alone=(),
        together=(),
        lots=len(lots),
    )


def _lot(lot: Lot, at: datetime) -> blending.Lot:
    return blending.Lot(
        key=lot.code,
        available_mg=_held_mg(lot),
        # A lot may carry a moment later than `at`, where another machine's clock runs ahead.
        age_days=max(0, (at - lot.made_at).days),
        spread=HeatSpread.from_list(lot.heat),
        regrind_ppm=WHOLE_PPM if lot.origin in REGRIND else 0,
        colour=lot.colour.code,
        melt_flow=_melt_flow(lot),
    )


def _held_mg(lot: Lot) -> int:
    held: int = lot.place.balance.quantity
    return held


def _melt_flow(lot: Lot) -> MeltFlow | None:
    """Return the melt flow in g/10 min; None when the lot states none.

    Its tolerance is taken as the half-width of a rectangle: u = tolerance / sqrt(3).
    """
    if not lot.melt_flow_mg_per_10min:
        return None
    tolerance = (lot.melt_flow_tolerance_mg or 0) / 1000
    return MeltFlow(lot.melt_flow_mg_per_10min / 1000, tolerance / sqrt(3))
