"""Where the heat passes of a moulded batch come from: the lots issued for it. Reads only."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.queries.lot_heat import Share
from inventory.sums.heat import HeatSpread
from returns.batches import issued, lot_code
from returns.models import ProductionBatch


@dataclass(frozen=True, slots=True)
class BatchHeat:
    """A batch's spread, its own moulding included, and the lots it was moulded from."""

    batch: ProductionBatch
    spread: HeatSpread
    lots: tuple[Share, ...]


def of(batch: ProductionBatch) -> BatchHeat:
    """A batch from before the ledger has its spread and no lots."""
    rows = issued(batch.code).select_related("movement").order_by("movement__number", "line")
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
