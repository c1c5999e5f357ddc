"""Where the heat passes of a moulded batch come from: the lots issued for it. Reads only."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.material.queries.lot_heat import Share
from inventory.material.sums.heat import HeatSpread, after_melt, blend
from inventory.models import Posting
from inventory.weighing.queries import readings
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings, booked
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


def lot_code(posting: Posting) -> str:
    """Return the code of the lot that an issue took from, or ""."""
    return posting.source.lot.code if posting.source.lot else ""
