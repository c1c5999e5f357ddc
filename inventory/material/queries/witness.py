"""What stands beside the ledger in this room, as events bear witness to it: runs, lots, prices.

Each row is a name and its facts. An event keeps the digest of the facts as its rule left them; the
check of the ledger compares. A field more would be another digest, so a new one needs a new name.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from inventory.models import GrindRun, Lot
from inventory.months.queries.recovered import worth

Row = tuple[str, list[Any]]
_LOT = (
    "code", "polymer__code", "colour__code", "origin", "heat", "supplier_note",
    "melt_flow_mg_per_10min", "melt_flow_tolerance_mg", "made_at",
)  # fmt: skip
_RUN = (
    "code", "box__code", "state", "box_mg", "box_movement", "proposed_by_id", "proposed_at",
    "confirmed_by_id", "confirmed_at", "readings", "minutes", "colour_change", "held_for",
    "explanation", "finished_at", "lot__code",
)  # fmt: skip


def rows_of(subject: str) -> Iterator[Row]:
    """Yield the rows that an event of this subject bears witness to."""
    if subject.startswith("G-"):
        yield from _runs(GrindRun.objects.filter(code=subject))
        yield from _lots(Lot.objects.filter(run__code=subject))
    elif subject.startswith("L-"):
        yield from _lots(Lot.objects.filter(code=subject))
    elif subject.startswith(("20", "classprice-")):
        # A close freezes the prices, and the owner's hand changes them.
        yield _prices()


def rows() -> Iterator[Row]:
    """Yield every row that an event may have borne witness to, as it stands."""
    yield from _runs(GrindRun.objects.order_by("pk"))
    yield from _lots(Lot.objects.order_by("pk"))
    yield _prices()


def _runs(found: Any) -> Iterable[Row]:
    for row in found.values_list(*_RUN).iterator():
        yield f"run {row[0]}", list(row)


def _lots(found: Any) -> Iterable[Row]:
    for row in found.values_list(*_LOT).iterator():
        yield f"lot {row[0]}", list(row)


def _prices() -> Row:
    return "prices", [list(row) for row in worth.prices()]
