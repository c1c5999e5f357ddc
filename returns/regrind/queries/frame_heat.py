"""How many heat passes a returned frame has had: its batch's, or what the sold ones had. Reads."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import OuterRef, QuerySet, Subquery, Sum

from inventory.material.sums import heat
from inventory.material.sums.heat import HeatSpread
from returns.models import Component, ProductionBatch, ReturnedFrame


def of(frame: ReturnedFrame) -> HeatSpread:
    """Return the spread of a frame's material.

    Without a known batch it is the spread of all sold batches it may be from, weighed by the
    frame material sold: those of its colourway, else of its polymer. With nothing sold it is one
    pass, for every frame was moulded once.
    """
    if frame.batch is not None:
        return HeatSpread.from_list(frame.batch.heat)
    if frame.colourway is None:
        return heat.of_passes(1)
    for batches in (
        ProductionBatch.objects.filter(colourway=frame.colourway),
        ProductionBatch.objects.filter(colourway__polymer=frame.colourway.polymer_id),
    ):
        sold = pool(batches)
        if any(one.mass_mg for one in sold):
            return heat.blend((one.spread, one.mass_mg) for one in sold)
    return heat.of_passes(1)


@dataclass(frozen=True, slots=True)
class Sold:
    """A batch that a frame may be from: its spread, and the frame material sold in milligrams."""

    colourway: int
    polymer: int
    spread: HeatSpread
    mass_mg: int


def pool(batches: QuerySet[ProductionBatch]) -> list[Sold]:
    """Return what was sold of each batch."""
    # A subquery and not a second join: joined beside the sales, each component would count every
    # sale again. It is grouped by model and selects the sum alone, for a subquery may have one
    # column.
    material = (
        Component.objects.filter(model=OuterRef("colourway__model"), is_frame_material=True)
        .order_by()
        .values("model")
        .values(total_mg=Sum("nominal_mg"))
    )
    rows = batches.annotate(
        sold_pieces=Sum("sold__pieces"), material_mg=Subquery(material)
    ).values_list("colourway", "colourway__polymer", "heat", "sold_pieces", "material_mg")
    return [
        # A bill without frame material leaves the pieces as weights.
        Sold(colourway, polymer, HeatSpread.from_list(spread), (pieces or 0) * (material_mg or 1))
        for colourway, polymer, spread, pieces, material_mg in rows
    ]
