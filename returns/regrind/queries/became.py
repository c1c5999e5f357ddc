"""What a ground frame became, along the ledger: frame, box, run, lot, issues, batches. Reads."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from inventory.material.queries import lot_heat
from inventory.models import GrindRun, Posting
from inventory.weighing.queries import readings
from inventory.weighing.sums.traced import MassWithReadings
from returns.models import FrameHeap, ProductionBatch, ReturnedFrame
from returns.regrind.sums import Part, part_in_batch
from returns.story.sums.states import FrameState

_IN_A_BOX = (FrameState.BOXED, FrameState.GROUND)


@dataclass(frozen=True, slots=True)
class Moulded:
    """A batch that took of the frame's lot; `batch` is None while none is noted under the code."""

    code: str
    taken_mg: int
    batch: ProductionBatch | None
    part: Part | None


@dataclass(frozen=True, slots=True)
class Became:
    """What was credited for one heap of a frame, and how far it has come.

    `spread_mg` is the expanded uncertainty (k = 2) of the readings behind the credited mass.
    """

    frame: ReturnedFrame
    heap: FrameHeap
    spread_mg: int | None
    boxed_at: datetime | None
    run: GrindRun | None
    flake_mg: int
    left_mg: int
    moulded: tuple[Moulded, ...]

    @property
    def first_moulded_on(self) -> date | None:
        """The day of the first batch that holds of it."""
        return min((one.batch.made_on for one in self.moulded if one.batch), default=None)


def of(frame: ReturnedFrame) -> tuple[Became, ...]:
    """Return the way of each heap of a frame so far; nothing for a frame never put in a box."""
    if frame.state not in _IN_A_BOX:
        return ()
    heaps = frame.heaps.select_related("box__colour", "lot__colour").order_by("pk")
    return tuple(_heap(frame, heap) for heap in heaps)


def _heap(frame: ReturnedFrame, heap: FrameHeap) -> Became:
    credits_ = _credits(frame, heap)
    spread_mg = _spread_mg(credits_)
    boxed_at = credits_[0].movement.happened_at if credits_ else None
    if heap.lot is None:
        return Became(frame, heap, spread_mg, boxed_at, None, 0, 0, ())
    lot = lot_heat.of(heap.lot)
    taken_mg: dict[str, int] = {}
    for share in lot.batches:
        taken_mg[share.code] = taken_mg.get(share.code, 0) + share.mass_mg
    return Became(
        frame,
        heap,
        spread_mg,
        boxed_at,
        lot.run,
        lot.held_mg + sum(taken_mg.values()),
        lot.held_mg,
        _moulded(heap, lot.run, taken_mg),
    )


def _credits(frame: ReturnedFrame, heap: FrameHeap) -> list[Posting]:
    """Return the postings by which the heap came into its box."""
    rows = Posting.objects.filter(
        movement__kind="strip_down",
        movement__subject=frame.tag,
        movement__reverses=None,
        movement__reversed_by=None,
        target=heap.box,
    )
    return list(rows.select_related("movement", "reading").order_by("movement__number", "line"))


def _spread_mg(postings: list[Posting]) -> int | None:
    read = [posting.reading for posting in postings if posting.reading is not None]
    if not read or len(read) < len(postings):
        return None
    together = MassWithReadings()
    for reading in read:
        together.add(MassWithReadings.of(readings.source(reading)))
    # At least a milligram: a spread of nothing would claim that a scale is exact.
    return max(1, round(together.known().expanded_ug / 1000))


def _moulded(
    heap: FrameHeap, run: GrindRun | None, taken_mg: dict[str, int]
) -> tuple[Moulded, ...]:
    rows = ProductionBatch.objects.filter(code__in=taken_mg)
    # A code may have been issued to before its batch is noted: then there is mass and no share yet.
    known = {batch.code: batch for batch in rows.select_related("colourway__model")}
    return tuple(
        Moulded(code, mass_mg, known.get(code), _part(heap, run, mass_mg, known.get(code)))
        for code, mass_mg in taken_mg.items()
    )


def _part(
    heap: FrameHeap, run: GrindRun | None, taken_mg: int, batch: ProductionBatch | None
) -> Part | None:
    if run is None or batch is None or not batch.issued_mg:
        return None
    return part_in_batch(
        # A count may have lowered the box below its frames, or reversals the batch below its lot: a
        # part is never shown larger than its whole.
        frame_mg=min(heap.mass_mg, run.box_mg),
        ground_mg=run.box_mg,
        taken_mg=min(taken_mg, batch.issued_mg),
        batch_mg=batch.issued_mg,
    )
