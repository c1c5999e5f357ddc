"""Strip-down: a frame is taken apart for grinding, and every gram of it gets a place.

This destroys somebody's property: it needs the recorded wish and a grading, and what is not
surely our own polymer never enters a box.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, NotEnough, StaleState
from inventory.events import Draft
from inventory.ledger.rules import carrying, ledger, places
from inventory.material.queries import admitted
from inventory.material.queries.boxes import OPEN_RUN_STATES
from inventory.material.rules.grinding import is_nothing
from inventory.models import (
    Colour,
    GrindRun,
    Movement,
    Part,
    Place,
    PlaceKind,
    Polymer,
    Reading,
    Scale,
    Workshop,
)
from inventory.models.materials import Origin
from inventory.parts import queries as part_stock
from inventory.weighing import rules as weighing
from returns.arriving.queries.frame_masses import limit_mg, on_bench_mg, refuse_gap
from returns.catalogue import queries as catalogue
from returns.grading.sums import PolymerCheck
from returns.letters import rules as letters
from returns.models import Colourway, FrameHeap, PartPromise, ReturnedFrame
from returns.models.filing import Wish
from returns.regrind.queries import frame_heat
from returns.salvage import rules as salvaging
from returns.story.rules import advance, again, settle
from returns.story.sums.states import FrameState

if TYPE_CHECKING:
    from django.contrib.auth.models import User

PIECES_MAX: Final = 20
REASON_LENGTH_MAX: Final = 200
WASTE_FIELDS: Final = {
    "lenses": PlaceKind.LENS,
    "metal": PlaceKind.METAL,
    "foreign": PlaceKind.FOREIGN,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Salvaged:
    """Good parts kept for repairs, with their mass together as typed."""

    part: Part
    pieces: int
    mass: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Heap:
    """Frame material that goes into one box: the colours that are in it, the colour of its box, its
    mass as typed. `field` names the field that is wrong when it cannot go there."""

    of: tuple[Colour, ...]
    into: Colour
    mass: str
    field: str

    def facts(self) -> list[Any]:
        """Return what was asked, for the fingerprint."""
        of = sorted(one.code for one in self.of)
        return [of, self.into.code, self.mass.strip(), self.field]


@dataclass(frozen=True, slots=True, kw_only=True)
class StripDown:
    """What a frame came apart into, as typed; an empty text or 0 means that there was none.

    `plastic` is material of the frame's main colour, fit for its box; `heaps` are those of its
    other materials, and what broke together. `foreign` is whatever else is thrown away: glue, tape,
    pads, frame material too dirty to grind. `reason` explains a difference that is large.
    """

    scale: Scale
    plastic: str = ""
    heaps: tuple[Heap, ...] = ()
    lenses: str = ""
    metal: str = ""
    foreign: str = ""
    salvaged: tuple[Salvaged, ...] = ()
    reason: str = ""

    def facts(self) -> list[Any]:
        """Return what was asked, for the fingerprint."""
        typed = [self.plastic, self.lenses, self.metal, self.foreign]
        kept = [[one.part.code, one.pieces, one.mass.strip()] for one in self.salvaged]
        facts = [self.scale.pk, [text.strip() for text in typed], kept, self.reason.strip()]
        # Left out where there is none: a frame of one material is told as it always was.
        heaps = [one.facts() for one in self.heaps if not is_nothing(one.mass)]
        return [*facts, heaps] if heaps else facts

    def kept_pieces(self) -> Counter[Part]:
        """Count the good pieces of each part that were kept."""
        pieces: Counter[Part] = Counter()
        for one in self.salvaged:
            pieces[one.part] += one.pieces
        return pieces


@events.rule("stripdown.strip", facts=lambda frame, parts: [frame.tag, *parts.facts()], again=again)
def strip(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, parts: StripDown, at: datetime, by: User
) -> ReturnedFrame:
    """Take a frame apart: clean frame material to the boxes of its materials, the rest to waste,
    salvage or, for lenses that are wanted back, to the bench until they are posted.

    What the parts do not add up to goes to the count difference; an implausible gap needs a
    reason. Raises BadInput without the wish, a grading or a polymer that is ours, and for a heap
    that the table of what may go with what keeps out of its box.
    """
    # Read again in the transaction: wish and grading may have changed since the page was shown.
    colourway = _may_be_ground(again(frame))
    carrying.carry(key=key, subject=frame.tag, to=PlaceKind.BENCH, at=at, actor=by)
    boxes = _boxes(colourway, parts)
    readings = _readings(parts, at)
    if not boxes.keys() & readings.keys():
        raise BadInput(_("Weigh the clean frame material."), field="plastic")
    movement = _post(key, again(frame), parts, readings, boxes, at, by)
    heaps = Counter[Place]()
    for name, box in boxes.items():
        heaps[box] += readings[name].mass_mg if name in readings else 0
    filled = [(box, mass_mg) for box, mass_mg in heaps.items() if mass_mg]
    FrameHeap.objects.bulk_create(
        FrameHeap(frame=frame, box=box, mass_mg=mass_mg) for box, mass_mg in filled
    )
    # After the posting, for the ledger must have the pieces in their bins before one is reserved.
    salvaging.keep(donor=frame, salvaged=parts.kept_pieces(), at=at, by=by)
    # Last, and conditional: a second hand who did the same meanwhile is refused, and all of the
    # above is rolled back with it.
    main, boxed_mg = filled[0][0], sum(mass_mg for _box, mass_mg in filled)
    stripped = advance(frame, FrameState.BOXED, box=main, boxed_mg=boxed_mg)
    event.of(
        frame.tag,
        box=main.code,
        boxed_mg=boxed_mg,
        movement=movement.number,
        heaps={box.code: mass_mg for box, mass_mg in filled},
    )
    return stripped


def mixed_into(colourway: Colourway) -> list[Colour]:
    """Return the colours whose boxes take what of this colourway breaks together.

    Materials of different polymers never share a box.
    """
    materials = catalogue.materials_of(colourway)
    if len({material.polymer.pk for material in materials}) > 1:
        return []
    return admitted.boxes_for([material.colour for material in materials])


def _boxes(colourway: Colourway, parts: StripDown) -> dict[str, Place]:
    """Return by field the box of each heap, as the owner's table allows."""
    polymers = {one.colour.pk: one.polymer for one in catalogue.materials_of(colourway)}
    # A box of returns: material of different origin never shares one, or no figure could tell them
    # apart.
    main = catalogue.main_of(colourway)
    boxes = {"plastic": _box(main.polymer, main.colour)} if not is_nothing(parts.plastic) else {}
    for heap in parts.heaps:
        if is_nothing(heap.mass):
            continue
        of = {polymers.get(colour.pk) for colour in heap.of}
        polymer = next(iter(of), None)
        if polymer is None or len(of) > 1:
            raise BadInput(_("This frame has no such material, or two polymers."), field=heap.field)
        if not admitted.takes(heap.into, heap.of):
            raise BadInput(
                _(
                    "By the table of what may go with what, the box of %(colour)s does not take "
                    "this. Choose another box, or let it be waste."
                )
                % {"colour": heap.into.name},
                field=heap.field,
            )
        if heap.field in boxes:
            raise BadInput(_("Name each heap once."), field=heap.field)
        boxes[heap.field] = _box(polymer, heap.into)
    return boxes


def _box(polymer: Polymer, colour: Colour) -> Place:
    return places.box(polymer=polymer, colour=colour, origin=Origin.RETURN)


@events.rule(
    "stripdown.discard_foreign",
    facts=lambda frame, reason: [frame.tag, reason.strip()],
    again=again,
)
def discard_foreign(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, reason: str, at: datetime, by: User
) -> ReturnedFrame:
    """Discard a frame that is not ours, or not surely of our polymer, as foreign waste.

    The wish to have it destroyed is needed for this just as well. Raises StaleState when the
    frame is neither to be stripped nor held as not ours.
    """
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        raise BadInput(_("Say in up to 200 characters what it is."), field="reason")
    if not may_be_discarded(again(frame)):
        raise StaleState()
    _refuse_unwished(again(frame))
    carrying.carry(key=key, subject=frame.tag, to=PlaceKind.BENCH, at=at, actor=by)
    bench, waste = places.mass(PlaceKind.BENCH), places.mass(PlaceKind.FOREIGN)
    movement = ledger.post(
        key=uuid.uuid5(key, "discard"),
        kind="strip_down",
        # Whole and unweighed: what the books have of it, so that nothing of it stays on the bench.
        lines=[ledger.Line(bench, waste, on_bench_mg(frame))],
        happened_at=at,
        story=ledger.Story(subject=frame.tag, actor=by, reason=reason.strip()),
    )
    gone = advance(frame, FrameState.DISCARDED, ended_at=at)
    settle(gone.request, at)
    if gone.request is not None:
        letters.enqueue(letter="discarded", request=gone.request, frame=gone, at=at)
    event.of(frame.tag, movement=movement.number)
    return again(frame)


@events.rule("stripdown.undo", facts=lambda frame, reason: [frame.tag, reason.strip()], again=again)
def undo(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, reason: str, at: datetime, by: User
) -> ReturnedFrame:
    """Take a strip-down back: every posting is reversed, and the frame is to be stripped again;
    a part that it had promised, and that was not kept, is promised again.

    Raises StaleState once it is ground or was never boxed; Conflict when its box, its parts or the
    frame itself were touched since, naming what stands in the way.
    """
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        raise BadInput(_("Say why, in up to 200 characters."), field="reason")
    movement = stripped_by(frame)
    if frame.state != FrameState.BOXED or frame.box is None or movement is None:
        raise StaleState()
    # The page asks the same, to hide the button; only this answer, in the transaction, counts.
    obstacle = undo_obstacle(frame)
    if obstacle:
        raise Conflict(obstacle)
    try:
        reversal = ledger.reverse(
            key=uuid.uuid5(key, "undo"), movement=movement, reason=reason, at=at, actor=by
        )
    # The ledger has the last word: it will not take back what is no longer there.
    except NotEnough as error:
        raise Conflict(
            _("It cannot be undone: what it put into %(place)s is no longer there.")
            % {"place": Place.objects.get(code=error.facts["place"]).get_kind_display()}
        ) from error
    # What they held is back in the ledger; a strip-down that comes again writes its own.
    FrameHeap.objects.filter(frame=frame).delete()
    advance(frame, FrameState.TO_STRIP, box=None, boxed_mg=0)
    salvaging.take_up(donor=frame, stripped_at=movement.happened_at, at=at, by=by)
    event.of(frame.tag, movement=movement.number, reversal=reversal.number)
    return again(frame)


def stripped_by(frame: ReturnedFrame) -> Movement | None:
    """Return the strip-down that stands; None when there is none."""
    rows = Movement.objects.filter(
        kind="strip_down", subject=frame.tag, reverses=None, reversed_by=None
    )
    return rows.order_by("number").last()


def undo_obstacle(frame: ReturnedFrame) -> str:
    """Say why the strip-down of a boxed frame can no longer be undone; "" when it can."""
    movement, heaps = stripped_by(frame), list(frame.heaps.all())
    if movement is None or not heaps:
        return _("This frame lies in no box.")
    return _box_obstacle(heaps, movement) or _frame_obstacle(frame, movement)


def _box_obstacle(heaps: Sequence[FrameHeap], movement: Movement) -> str:
    boxes = [heap.box_id for heap in heaps]
    if any(heap.lot_id for heap in heaps):
        return _("A part of it is ground already.")
    if GrindRun.objects.filter(box__in=boxes, state__in=OPEN_RUN_STATES).exists():
        return _("A grind run of its box is open. Cancel the run first.")
    since = _since(movement)
    if since.filter(Q(postings__source__in=boxes) | Q(postings__target__in=boxes)).exists():
        return _("Its box was filled or emptied since: its pieces can no longer be told apart.")
    return ""


def _since(movement: Movement) -> QuerySet[Movement]:
    # What was done and reversed since leaves no trace that matters; both halves are passed over.
    return Movement.objects.filter(number__gt=movement.number, reverses=None, reversed_by=None)


def _frame_obstacle(frame: ReturnedFrame, movement: Movement) -> str:
    if _since(movement).filter(subject=frame.tag).exists():
        return _("Something else was done with the frame since, such as posting its lenses.")
    if PartPromise.objects.filter(donor=frame, state=PartPromise.State.KEPT).exists():
        return _("One of its parts is kept for another frame.")
    gone = _parts_gone(movement)
    return (
        _("Parts of it are used or promised by now: %(parts)s.") % {"parts": gone} if gone else ""
    )


def _parts_gone(movement: Movement) -> str:
    """Name the parts whose kept pieces are no longer free in their bins."""
    kept = movement.postings.filter(target__kind=PlaceKind.BIN).select_related("target__part")
    parts = [(line.target.part, line.quantity) for line in kept.order_by("line")]
    gone = [part.name for part, pieces in parts if part and part_stock.available(part) < pieces]
    return ", ".join(gone)


def is_ours(frame: ReturnedFrame) -> bool:
    """Tell whether a frame may enter a box: one of our models, and by the latest look-over our
    plastic. A doubt counts as a no."""
    if frame.colourway is None or frame.is_stranger:
        return False
    latest = frame.gradings.order_by("-at", "-pk").first()
    facts = latest.sums.get("facts", {}) if latest else {}
    # From the grading as it was kept: the look-over decided, not what anybody thinks of it now.
    return facts.get("polymer") == PolymerCheck.OURS


def may_be_discarded(frame: ReturnedFrame) -> bool:
    """Tell whether it may: when held, only what is not ours; when to be stripped, anything."""
    if frame.state == FrameState.HELD:
        return not is_ours(frame)
    return frame.state == FrameState.TO_STRIP


def _may_be_ground(frame: ReturnedFrame) -> Colourway:
    if frame.state != FrameState.TO_STRIP:
        raise StaleState()
    _refuse_unwished(frame)
    if frame.colourway is None or not is_ours(frame):
        raise BadInput(
            _("Its plastic is not surely ours. Look it over again, or discard it as foreign.")
        )
    return frame.colourway


def _refuse_unwished(frame: ReturnedFrame) -> None:
    if frame.wish != Wish.REGRIND:
        raise BadInput(
            _("The customer has not said that it may be ground. Ask, and record the wish first.")
        )
    if not frame.gradings.exists():
        raise BadInput(_("Look the frame over first: it has no grading."))


def _readings(parts: StripDown, at: datetime) -> dict[str, Reading]:
    """Return readings by field; those of salvaged parts under `salvaged-<part code>`."""
    typed = {"plastic": parts.plastic}
    typed |= {heap.field: heap.mass for heap in parts.heaps}
    typed |= {name: getattr(parts, name) for name in WASTE_FIELDS}
    for kept in parts.salvaged:
        _refuse_bad_salvage(kept)
        typed[f"salvaged-{kept.part.code}"] = kept.mass
    return {
        name: weighing.read(scale=parts.scale, typed=text, at=at, field=name)
        for name, text in typed.items()
        if not is_nothing(text)
    }


def _refuse_bad_salvage(kept: Salvaged) -> None:
    field = f"salvaged-{kept.part.code}"
    if not 1 <= kept.pieces <= PIECES_MAX:
        raise BadInput(_("Write how many pieces were kept, from 1 to 20."), field=field)
    if is_nothing(kept.mass):
        raise BadInput(_("Weigh the parts that were kept."), field=field)


def _post(
    key: UUID,
    frame: ReturnedFrame,
    parts: StripDown,
    readings: dict[str, Reading],
    boxes: dict[str, Place],
    /,
    *when_and_who: Any,
) -> Any:
    at, by = when_and_who
    workshop = Workshop.the()
    # Whole cents, rounded down: cost stands in the ledger and is never a float.
    labour_minor = workshop.strip_minutes * workshop.labour_minor_per_hour // 60
    # Against what the books have on the bench, not the weigh-in: parts may have been fitted since.
    gap_mg = on_bench_mg(frame) - sum(reading.mass_mg for reading in readings.values())
    refuse_gap(
        gap_mg=gap_mg,
        limit_mg=limit_mg(frame.reading, list(readings.values())),
        reason=parts.reason,
    )
    return ledger.post(
        key=uuid.uuid5(key, "strip"),
        kind="strip_down",
        lines=_lines(frame, parts, readings, boxes, gap_mg),
        happened_at=at,
        story=ledger.Story(
            subject=frame.tag,
            actor=by,
            reason=parts.reason.strip(),
            cost_minor=labour_minor + workshop.postage_in_minor,
            heat=frame_heat.of(frame).to_list(),
        ),
    )


def _lines(
    frame: ReturnedFrame,
    parts: StripDown,
    readings: dict[str, Reading],
    boxes: dict[str, Place],
    gap_mg: int,
) -> list[ledger.Line]:
    bench, heats = places.mass(PlaceKind.BENCH), _heats(frame, parts)
    targets: dict[str, Place] = dict(boxes)
    targets |= {name: places.mass(kind) for name, kind in WASTE_FIELDS.items()}
    if frame.lenses_back:
        # They stay on the bench under the frame's tag until they are posted.
        del targets["lenses"]
    salvage = places.mass(PlaceKind.SALVAGE)
    targets |= {f"salvaged-{kept.part.code}": salvage for kept in parts.salvaged}
    lines = [
        ledger.Line(bench, target, readings[name].mass_mg, readings[name], heats.get(name))
        for name, target in targets.items()
        if name in readings
    ]
    return [*lines, *_kept_pieces(parts.salvaged), *_gap(bench, gap_mg)]


def _heats(frame: ReturnedFrame, parts: StripDown) -> dict[str, list[list[int]]]:
    """Return by field the heat passes of each heap of a frame of several materials."""
    materials = catalogue.materials_of(frame.colourway) if frame.colourway else ()
    if frame.colourway is None or len(materials) < 2:
        # The movement says it once for all.
        return {}
    within = {"plastic": (frame.colourway.colour,)} | {heap.field: heap.of for heap in parts.heaps}
    found = {
        name: [material for material in materials if material.colour in colours]
        for name, colours in within.items()
    }
    return {name: frame_heat.of_heap(frame, own).to_list() for name, own in found.items() if own}


def _kept_pieces(salvaged: Sequence[Salvaged]) -> list[ledger.Line]:
    customers = places.pieces(PlaceKind.WEARERS)
    return [ledger.Line(customers, places.bin_of(kept.part), kept.pieces) for kept in salvaged]


def _gap(bench: Place, gap_mg: int) -> list[ledger.Line]:
    difference = places.mass(PlaceKind.UNEXPLAINED)
    if gap_mg > 0:
        return [ledger.Line(bench, difference, gap_mg)]
    return [ledger.Line(difference, bench, -gap_mg)] if gap_mg else []
