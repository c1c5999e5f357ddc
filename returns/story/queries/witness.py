"""What stands beside the ledger in this room, as events bear witness to it: nothing of a person.

Frames, what customers wish for them, batches, and what was sold. See the ground room's list.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from returns.models import FurtherFrame, ProductionBatch, Request, ReturnedFrame, SoldUnits

Row = tuple[str, list[Any]]
_FRAME = (
    "tag", "parcel__code", "request__reference", "number", "colourway_id", "batch__code",
    "is_stranger", "state", "wish", "lenses_back", "reading_id", "weighed_at", "boxed_mg",
    "lot__code", "ended_at",
)  # fmt: skip
_REQUEST = ("reference", "kind", "colourway_id", "wish", "lenses_back", "filed_at")
_FURTHER = ("request__reference", "number", "colourway_id", "wish", "lenses_back")
_BATCH = ("code", "colourway_id", "made_on", "pieces", "heat", "issued_mg")
_SOLD = ("batch__code", "month", "pieces")


def rows_of(subject: str) -> Iterator[Row]:
    """Yield the rows that an event of this subject bears witness to."""
    if subject.startswith("F-"):
        yield from _frames(ReturnedFrame.objects.filter(tag=subject))
    elif subject.startswith("Q-"):
        yield from _requests(Request.objects.filter(reference=subject))
        yield from _further(FurtherFrame.objects.filter(request__reference=subject))
    elif subject == "sold" or subject.startswith("soldunits-"):
        yield from _sold()
    elif subject.startswith("productionbatch-"):
        yield from _batches(ProductionBatch.objects.filter(pk=subject.partition("-")[2]))
    elif subject[:1].isalpha() and "-" in subject and subject[1] != "-":
        yield from _batches(ProductionBatch.objects.filter(code=subject))


def rows() -> Iterator[Row]:
    """Yield every row that an event may have borne witness to, as it stands."""
    yield from _frames(ReturnedFrame.objects.order_by("pk"))
    yield from _requests(Request.objects.order_by("pk"))
    yield from _further(FurtherFrame.objects.order_by("pk"))
    yield from _batches(ProductionBatch.objects.order_by("pk"))
    yield from _sold()


def _frames(found: Any) -> Iterable[Row]:
    for row in found.values_list(*_FRAME).iterator():
        yield f"frame {row[0]}", list(row)


def _requests(found: Any) -> Iterable[Row]:
    for row in found.values_list(*_REQUEST).iterator():
        yield f"request {row[0]}", list(row)


def _further(found: Any) -> Iterable[Row]:
    for row in found.values_list(*_FURTHER).iterator():
        yield f"frame {row[1]} of request {row[0]}", list(row)


def _batches(found: Any) -> Iterable[Row]:
    for row in found.values_list(*_BATCH).iterator():
        yield f"batch {row[0]}", list(row)


def _sold() -> Iterator[Row]:
    """Yield the pieces sold by batch, one row a batch."""
    held: dict[str, list[Any]] = {}
    for batch, month, pieces in SoldUnits.objects.order_by("batch__code", "month").values_list(
        *_SOLD
    ):
        held.setdefault(batch, []).append([month, pieces])
    for batch, listed in held.items():
        yield f"sold of {batch}", listed
