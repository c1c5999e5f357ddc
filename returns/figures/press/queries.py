"""What the press can be fed with in the coming weeks: lots on hand, flake to come, bought material.

Flake to come is what the forecast of returns brings of the colour, by the measured yield, spread
evenly over the weeks; its passes and melt flow are taken as the mean of the lots of returns.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from inventory.material.sums.heat import HeatSpread
from inventory.models import ClassPrice, Colour, Lot, Origin, Polymer
from inventory.months.sums.calendar_month import month_of
from returns.figures.forecast.queries import forecast
from returns.figures.press.sums import Source
from returns.figures.span.queries import Scope, zone
from returns.grading.queries.facts import recovery_share_ppm
from returns.grading.sums.facts import PPM

LOTS_MAX = 40
LOT_MIN_MG = 1_000
MG_PER_KG = 1_000_000
WEEKS_A_MONTH = 365.25 / 12 / 7
BOUGHT = "bought"


def sources(polymer: Polymer, colour: Colour, *, weeks: int, at: datetime) -> list[Source]:
    """Return lots of the colour, the oldest first, and the flake that returns are to bring."""
    rows = Lot.objects.filter(
        polymer=polymer, colour=colour, place__balance__quantity__gte=LOT_MIN_MG
    ).select_related("place__balance")
    prices = dict(
        ClassPrice.objects.filter(polymer=polymer).values_list("origin", "price_minor_per_kg")
    )
    lots = [_lot(lot, prices) for lot in rows.order_by("made_at", "code")[:LOTS_MAX]]
    return [*lots, *_to_come(lots, colour, weeks, at, prices.get(Origin.RETURN, 0))]


def bought(*, minor_per_kg: float, flow: float | None) -> Source:
    """Return virgin material as it can be bought: as much as is wanted, never melted before."""
    return Source(
        key=BOUGHT,
        kg=None,
        week=0,
        passes=0.0,
        flow=flow,
        is_returned=False,
        minor_per_kg=minor_per_kg,
    )


def _lot(lot: Lot, prices: dict[str, int]) -> Source:
    flow = lot.melt_flow_mg_per_10min
    return Source(
        key=lot.code,
        kg=lot.place.balance.quantity / MG_PER_KG,
        week=0,
        passes=HeatSpread.from_list(lot.heat).mean_passes,
        flow=flow / 1000 if flow else None,
        is_returned=lot.origin == Origin.RETURN,
        minor_per_kg=prices.get(lot.origin, 0),
    )


def _to_come(
    lots: Sequence[Source], colour: Colour, weeks: int, at: datetime, minor_per_kg: int
) -> list[Source]:
    returned = [lot for lot in lots if lot.is_returned]
    as_of = month_of(at, zone()).previous()
    ahead = [
        one for one in forecast.mass_by_colour(Scope(), as_of=as_of) if one.name == colour.name
    ]
    if not ahead or not returned:
        return []
    held = math.fsum(lot.kg or 0.0 for lot in returned)
    passes = math.fsum(lot.passes * (lot.kg or 0.0) for lot in returned) / held
    flows = [lot for lot in returned if lot.flow is not None]
    known = math.fsum(lot.kg or 0.0 for lot in flows)
    flow = (
        math.exp(math.fsum(math.log(lot.flow or 1.0) * (lot.kg or 0.0) for lot in flows) / known)
        if known
        else None
    )
    share = recovery_share_ppm() / PPM
    found = []
    for week in range(1, weeks):
        month = ahead[0].months[min(int(week / WEEKS_A_MONTH), len(ahead[0].months) - 1)]
        kg = month.expected_mg * share / WEEKS_A_MONTH / MG_PER_KG
        if kg > 0:
            found.append(
                Source(
                    key=f"+{week}",
                    kg=kg,
                    week=week,
                    passes=passes,
                    flow=flow,
                    is_returned=True,
                    minor_per_kg=minor_per_kg,
                )
            )
    return found
