"""How many heat passes a returned frame has had: its batch's, or what the sold ones had. Reads."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import QuerySet, Sum

from inventory.material.sums import heat
from inventory.material.sums.heat import HeatSpread
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import Material
from returns.models import ProductionBatch, ReturnedFrame
from returns.moulding import queries as moulded


def of(frame: ReturnedFrame, material: Material | None = None) -> HeatSpread:
    """Return the spread of one material of a frame; without one named, of the frame as a whole.

    Without a known batch it is the spread of all sold batches it may be from, weighed by the
    frame material sold: those of its colourway, else of its polymer. With nothing sold it is one
    pass, for every frame was moulded once.
    """
    if frame.batch is not None:
        return _spread(frame.batch, material)
    if frame.colourway is None:
        return heat.of_passes(1)
    for batches in (
        ProductionBatch.objects.filter(colourway=frame.colourway),
        ProductionBatch.objects.filter(colourway__polymer=frame.colourway.polymer_id),
    ):
        sold = pool(batches, material)
        if any(one.mass_mg for one in sold):
            return heat.blend((one.spread, one.mass_mg) for one in sold)
    return heat.of_passes(1)


def of_heap(frame: ReturnedFrame, materials: Collection[Material]) -> HeatSpread:
    """Return the spread of a heap in which these materials of a frame lie, by the bill's masses."""
    own = [of(frame, material) for material in materials]
    if frame.colourway is None or len(own) == 1:
        return own[0]
    bill = catalogue.heaps(frame.colourway, catalogue.bill_of(frame.colourway))
    masses = {heap.material: heap.nominal_mg for heap in bill}
    return heat.blend(
        (spread, masses.get(material, 1)) for material, spread in zip(materials, own, strict=True)
    )


def _spread(batch: ProductionBatch, material: Material | None) -> HeatSpread:
    if material is None:
        return HeatSpread.from_list(batch.heat)
    return moulded.heat_in(batch, material)


@dataclass(frozen=True, slots=True)
class Sold:
    """A batch that a frame may be from: its spread, and the frame material sold in milligrams."""

    colourway: int
    polymer: int
    spread: HeatSpread
    mass_mg: int


def pool(batches: QuerySet[ProductionBatch], material: Material | None = None) -> list[Sold]:
    """Return what was sold of each batch, with the spread of one material of it where one is named.

    The mass is that of all the frame material in it: of one look it is in proportion to either.
    """
    rows = batches.annotate(sold_pieces=Sum("sold__pieces")).select_related(
        "colourway__polymer", "colourway__colour"
    )
    found = list(rows.prefetch_related("materials") if material else rows)
    bills = catalogue.by_material({row.colourway_id: row.colourway for row in found}.values())
    masses = {way: sum(heap.nominal_mg for heap in heaps) for way, heaps in bills.items()}
    return [
        Sold(
            row.colourway_id,
            row.colourway.polymer_id,
            _spread(row, material),
            # A bill without frame material leaves the pieces as weights.
            (row.sold_pieces or 0) * (masses[row.colourway_id] or 1),
        )
        for row in found
    ]
