"""The mean number of lives of what was moulded in a span, with its range."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping
from typing import Any

from django.db.models import Q, Sum

from inventory.material.sums.heat import BadHeatSpread, HeatSpread
from inventory.weighing.sums.weighing import COVERAGE_FACTOR
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import PieceMass
from returns.figures.circularity.sums import mean_lives as sums
from returns.figures.circularity.sums.mean_lives import Doubt, Moulded
from returns.figures.span.queries import Scope, Span
from returns.models import Colourway, FrameHeap, ProductionBatch
from returns.moulding.queries import issued
from returns.regrind.queries import frame_heat


def moulded(span: Span, scope: Scope) -> tuple[tuple[Moulded, ...], int]:
    """Return what was moulded in the span by model, with its pieces' lives; and how many batches.

    A heat pass stands for a life. A batch without a known spread is left out.
    """
    pieces: dict[int, Counter[int]] = defaultdict(Counter)
    lives: defaultdict[int, float] = defaultdict(float)
    batches = 0
    rows = _batches(span, scope).values_list("heat", "pieces", "colourway__model", "colourway")
    for heat, made, model, look in rows:
        passes = _mean_lives(heat)
        if passes is not None:
            batches += 1
            pieces[model][look] += made
            lives[model] += passes * made
    looks = Colourway.objects.select_related("polymer", "colour")
    masses = catalogue.piece_masses(looks.filter(model__in=list(pieces)))
    models = [_moulded(by_look, lives[model], masses) for model, by_look in sorted(pieces.items())]
    return tuple(one for one in models if one.pieces and one.piece_mg), batches


def _moulded(by_look: Mapping[int, int], lives: float, masses: Mapping[int, PieceMass]) -> Moulded:
    """Return what was moulded of one model, its mass the mean of its looks by their pieces."""
    count = sum(by_look.values())
    # One drawing stands behind all looks of a model, so that their spreads are not independent:
    # the mean of them, and no smaller.
    weighed = [(masses[look], made / max(1, count)) for look, made in by_look.items()]
    return Moulded(
        piece_mg=round(sum(mass.frame_mg * share for mass, share in weighed)),
        spread_mg=sum(mass.spread_mg * share for mass, share in weighed),
        pieces=count,
        lives=lives,
    )


def limits(span: Span, scope: Scope, models: tuple[Moulded, ...]) -> tuple[float, float]:
    """Return low and high at k = 2, by the spread of the drawings' masses and the unknown batches.

    A returned frame of unknown batch was taken to have the mean of the batches that it may be
    from; what it may differ goes with its lot into the batches moulded. Left out: how many passes
    bought feedstock had before, and that own scrap counts like a life.
    """
    middle = sums.mean(models)
    arm = COVERAGE_FACTOR * sums.standard(models, _doubts(span, scope))
    # Whatever was moulded has at least the life it is in.
    return max(1.0, middle - arm), middle + arm


def _batches(span: Span, scope: Scope) -> Any:
    return (
        scope.batches()
        .filter(made_on__gte=span.first.first_day, made_on__lte=span.last.last_day)
        .order_by()
    )


def _mean_lives(heat: Any) -> float | None:
    """Return the mean. Material without a pass and with one pass alike are in their first life."""
    try:
        shares = HeatSpread.from_list(heat).shares
    except BadHeatSpread:
        return None
    # Divided by the sum that is there and not by a million: a list rounded elsewhere may miss it by
    # a few.
    return sum(max(1, passes) * ppm for passes, ppm in shares) / sum(ppm for _n, ppm in shares)


def _doubts(span: Span, scope: Scope) -> list[Doubt]:
    """Return each unsure lot in the span's batches, as a part of all that went in."""
    rows = issued(_batches(span, scope).values("code")).filter(source__lot__isnull=False)
    by_lot = dict(rows.order_by().values_list("source__lot").annotate(Sum("quantity")))
    whole_mg = sum(by_lot.values())
    unsure = _unsure_lots(by_lot)
    return [Doubt(by_lot[lot] / whole_mg, standard) for lot, standard in sorted(unsure.items())]


def _unsure_lots(lots: dict[int, int]) -> dict[int, float]:
    """Return, by lot with frames of unknown batch, the standard uncertainty of its mean passes."""
    ground = FrameHeap.objects.filter(lot__in=list(lots)).order_by()
    rows = ground.values("lot").annotate(
        whole=Sum("mass_mg"), unknown=Sum("mass_mg", filter=Q(frame__batch=None))
    )
    # Only lots with a frame of unknown batch are unsure; for the others the pool is not even read.
    whole_mg = {row["lot"]: row["whole"] for row in rows if row["unknown"]}
    spread_of = _spreads_by_colourway() if whole_mg else {}
    frames: defaultdict[int, list[tuple[int, float]]] = defaultdict(list)
    unknown = ground.filter(frame__batch=None, lot__in=list(whole_mg))
    for lot, colourway, mass_mg in unknown.values_list("lot", "frame__colourway", "mass_mg"):
        frames[lot].append((mass_mg, spread_of.get(colourway, 0.0)))
    return {lot: sums.unknown_batches(found, lot_mg=whole_mg[lot]) for lot, found in frames.items()}


def _spreads_by_colourway() -> dict[int, float]:
    """Return how far apart the batches lie that a frame may be from, as `frame_heat` takes them."""
    sold = frame_heat.pool(ProductionBatch.objects.order_by())
    polymers = dict(Colourway.objects.order_by().values_list("pk", "polymer"))
    found = {}
    for colourway, polymer in polymers.items():
        own = [one for one in sold if one.colourway == colourway]
        if not any(one.mass_mg for one in own):
            own = [one for one in sold if one.polymer == polymer]
        found[colourway] = sums.spread_of((one.spread.mean_passes, one.mass_mg) for one in own)
    return found
