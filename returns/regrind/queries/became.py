"""What a ground frame became, along the ledger: frame, box, run, lot, issues, batches. Reads."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime

from inventory.material.queries import lot_heat
from inventory.models import GrindRun, Posting
from inventory.weighing.queries import readings
from inventory.weighing.sums.weighing import expanded
from returns.models import ProductionBatch, ReturnedFrame
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
    """What was credited for a frame, and how far it has come.

    `spread_mg` is the expanded uncertainty (k = 2) of the reading behind the credited mass.
    """

    frame: ReturnedFrame
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


def of(frame: ReturnedFrame) -> Became | None:
    """Return the way of a frame's material so far; None for a frame never put in a box."""
    if frame.state not in _IN_A_BOX or not frame.boxed_mg:
        return None
    credit = _credit(frame)
    spread_mg = _spread_mg(credit)
    boxed_at = credit.movement.happened_at if credit else None
    if frame.lot is None:
        return Became(frame, spread_mg, boxed_at, None, 0, 0, ())
    lot = lot_heat.of(frame.lot)
    taken_mg: dict[str, int] = {}
    for share in lot.batches:
        taken_mg[share.code] = taken_mg.get(share.code, 0) + share.mass_mg
    return Became(
        frame,
        spread_mg,
        boxed_at,
        lot.run,
        lot.held_mg + sum(taken_mg.values()),
        lot.held_mg,
        _moulded(frame, lot.run, taken_mg),
    )


def _credit(frame: ReturnedFrame) -> Posting | None:
    """Return the posting by which the frame's material came into its box."""
    rows = Posting.objects.filter(
        movement__kind="strip_down",
        movement__subject=frame.tag,
        movement__reverses=None,
        movement__reversed_by=None,
        target=frame.box,
    )
    return rows.select_related("movement", "reading").order_by("-movement__number").first()


def _spread_mg(credit: Posting | None) -> int | None:
    if credit is None or credit.reading is None:
        return None
    # At least a milligram: a spread of nothing would claim that a scale is exact.
    return max(1, round(expanded(readings.measured(credit.reading).u_mg)))


def _moulded(
    frame: ReturnedFrame, run: GrindRun | None, taken_mg: dict[str, int]
) -> tuple[Moulded, ...]:
    rows = ProductionBatch.objects.filter(code__in=taken_mg)
    # A code may have been issued to before its batch is noted: then there is mass and no share yet.
    known = {batch.code: batch for batch in rows.select_related("colourway__model")}
    return tuple(
        Moulded(code, mass_mg, known.get(code), _part(frame, run, mass_mg, known.get(code)))
        for code, mass_mg in taken_mg.items()
    )


def _part(
    frame: ReturnedFrame, run: GrindRun | None, taken_mg: int, batch: ProductionBatch | None
) -> Part | None:
    if run is None or batch is None or not batch.issued_mg:
        return None
    return part_in_batch(
        # A count may have lowered the box below its frames, or reversals the batch below its lot: a
        # part is never shown larger than its whole.
        frame_mg=min(frame.boxed_mg, run.box_mg),
        ground_mg=run.box_mg,
        taken_mg=min(taken_mg, batch.issued_mg),
        batch_mg=batch.issued_mg,
    )
