"""Where the heat passes of a moulded batch come from: the lots issued for it. Reads only."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.material.queries.lot_heat import Share
from inventory.material.sums.heat import HeatSpread, after_melt, blend
from inventory.models import Posting, RecipeCard
from inventory.weighing.queries import readings
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings, booked
from returns.catalogue.queries import Material
from returns.models import ProductionBatch


@dataclass(frozen=True, slots=True)
class BatchHeat:
    """A batch's spread, its own moulding included, and the lots it was moulded from."""

    batch: ProductionBatch
    spread: HeatSpread
    lots: tuple[Share, ...]


def known_issues(batches: Sequence[ProductionBatch]) -> dict[str, MassUncertainty]:
    """Return by code the uncertainty of what was issued for a batch, in one question for all.

    Without a batch that was moulded from a part of its issues, or before the ledger began.
    """
    masses = {batch.code: MassWithReadings() for batch in batches if batch.issued_mg}
    for posting in issued(masses).select_related("movement", "reading"):
        read = posting.reading
        # An issue without a reading is mass that nobody weighed: it is counted apart.
        source = readings.source(read) if read else booked(posting.quantity)
        masses[posting.movement.subject].add(MassWithReadings.of(source))
    # Where the sums differ, the batch took a part of its issues, and which part nobody wrote down.
    took_mg = {batch.code: batch.issued_mg for batch in batches}
    return {code: one.known() for code, one in masses.items() if one.mass_mg == took_mg[code]}


def of(batch: ProductionBatch) -> BatchHeat:
    """Return a batch's heat and lots. A batch from before the ledger has its spread and no lots."""
    rows = issued([batch.code]).select_related("movement").order_by("movement__number", "line")
    return BatchHeat(
        batch=batch,
        spread=HeatSpread.from_list(batch.heat),
        lots=tuple(
            Share(
                lot_code(posting),
                posting.quantity,
                HeatSpread.from_list(posting.source.lot.heat) if posting.source.lot else None,
                posting,
            )
            for posting in rows[:200]
        ),
    )


def issued(codes: Iterable[str]) -> QuerySet[Posting]:
    """Return what was issued for some batches and not taken back."""
    rows = Posting.objects.filter(
        movement__kind="issue",
        movement__subject__in=codes,
        movement__reverses=None,
        movement__reversed_by=None,
    )
    return rows.select_related("source__lot", "source__polymer")


def heat_of(postings: list[Posting]) -> HeatSpread:
    """Return the spread after moulding what the postings took from their lots."""
    spreads = [
        (HeatSpread.from_list(posting.source.lot.heat), posting.quantity)
        for posting in postings
        if posting.source.lot is not None
    ]
    return after_melt(blend(spreads))


def of_materials(
    postings: Sequence[Posting], materials: Collection[Material]
) -> dict[Material, HeatSpread]:
    """Return the spread after moulding of each material, of what was issued for it.

    A recipe card of a blend says that all on it went into that blend, else a lot goes into the
    material of its own colour. A lot that is of none of them counts in each: nobody wrote down
    which. A material that nothing was issued for is left out.
    """
    movements = {posting.movement_id for posting in postings}
    cards = RecipeCard.objects.filter(movement__in=movements)
    blends = dict(cards.values_list("movement", "blend"))
    found: dict[Material, list[Posting]] = {material: [] for material in materials}
    for posting in postings:
        colour = blends.get(posting.movement_id, posting.source.colour_id)
        own = [
            one for one in materials if (one.polymer.pk, one.colour.pk) == _kind(posting, colour)
        ]
        for material in own or materials:
            found[material].append(posting)
    colours = {material.colour.pk for material in materials}
    return {
        material: heat_of(rows)
        for material, rows in found.items()
        # Only strays: they say nothing of this material that they do not say of the whole batch.
        if any(blends.get(row.movement_id, row.source.colour_id) in colours for row in rows)
    }


def _kind(posting: Posting, colour: int | None) -> tuple[int | None, int | None]:
    return posting.source.polymer_id, colour


def heat_in(batch: ProductionBatch, material: Material) -> HeatSpread:
    """Return the spread of one material of a batch: its own, else the batch's."""
    for row in batch.materials.all():
        if (row.polymer_id, row.colour_id) == (material.polymer.pk, material.colour.pk):
            return HeatSpread.from_list(row.heat)
    return HeatSpread.from_list(batch.heat)


def lot_code(posting: Posting) -> str:
    """Return the code of the lot that an issue took from, or ""."""
    return posting.source.lot.code if posting.source.lot else ""
