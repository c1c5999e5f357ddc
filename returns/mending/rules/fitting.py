"""Parts that go into a frame: from which bin, and what they change on the bench in milligrams."""

from __future__ import annotations

import uuid
from collections.abc import Mapping
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db.models import Sum
from django.utils.translation import gettext as _

from inventory.errors import BadInput, NotEnough
from inventory.ledger.rules import ledger, places
from inventory.material.queries import boxes
from inventory.models import Movement, Part, Place, PlaceKind, Posting, Reservation
from inventory.models.places import ReservationState
from inventory.parts import queries as part_stock
from returns.arriving.queries.frame_masses import on_bench_mg
from returns.catalogue import queries as catalogue
from returns.models import Component, JobStep, ReturnedFrame
from returns.models.catalogue import ComponentKind
from returns.models.remedies import DefectKey, Method

if TYPE_CHECKING:
    from django.contrib.auth.models import User

PIECES_MAX = 20
_WASTE_OF = {ComponentKind.SCREW: PlaceKind.METAL, ComponentKind.LENS: PlaceKind.LENS}


def named(parts: Mapping[str, int]) -> dict[Part, int]:
    """Find parts by their codes. Raises BadInput for an unknown code or a count outside 1 to 20."""
    found = {part.code: part for part in Part.objects.filter(code__in=parts)}
    for code, pieces in parts.items():
        if code not in found:
            raise BadInput(_("There is no part “%(code)s”.") % {"code": code}, field="parts")
        if not 1 <= pieces <= PIECES_MAX:
            raise BadInput(
                _("Write how many of %(part)s were used, from 1 to 20.") % {"part": found[code]},
                field=f"part-{code}",
            )
    return {found[code]: pieces for code, pieces in parts.items()}


def free_for(part: Part, tag: str) -> int:
    """Return the pieces that a frame may use: in the bin, and not promised to another story."""
    # The frame's own promises count as free for it, for they were made for this step.
    others = Reservation.objects.filter(part=part, state=ReservationState.OPEN).exclude(subject=tag)
    return max(0, part_stock.held(part) - (others.aggregate(total=Sum("pieces"))["total"] or 0))


def fit(
    *, key: UUID, step: JobStep, parts: Mapping[Part, int], at: datetime, by: User
) -> list[Movement]:
    """Post the parts of one step, and what came off the frame for them. Raises NotEnough.

    Salvaged pieces are used before bought ones. New mass is nominal; the weigh-out puts it right.
    """
    frame = step.job.frame
    for part, pieces in parts.items():
        # Asked before the ledger is, which guards the bin but knows nothing of promises to other
        # frames.
        if free_for(part, frame.tag) < pieces:
            raise NotEnough(
                _("Only %(free)s of %(part)s are free; %(wanted)s are asked for.")
                % {"free": free_for(part, frame.tag), "part": part.name, "wanted": pieces}
            )
    return [
        ledger.post(
            key=uuid.uuid5(key, f"fit-{name}"),
            kind="fit_part",
            lines=lines,
            happened_at=at,
            story=ledger.Story(subject=frame.tag, actor=by),
        )
        for name, lines in _movements(step, parts)
    ]


def _movements(step: JobStep, parts: Mapping[Part, int]) -> list[tuple[str, list[ledger.Line]]]:
    """Bought and salvaged pieces apart, so that what is left of the salvaged can be counted."""
    data: list[tuple[str, list[ledger.Line]]] = []
    for part, pieces in parts.items():
        # Bought and salvaged pieces lie in one bin, and no hand can tell them apart. Which of them
        # goes first is a rule of the books: the salvaged.
        reused = min(pieces, salvaged_left(part))
        data += _fitted(f"{part.code}-salvaged", part, reused, PlaceKind.SALVAGE)
        data += _fitted(part.code, part, pieces - reused, PlaceKind.PRESS)
    off = _taken_off(step) if parts else []
    return data + ([("off", off)] if off else [])


def _fitted(
    name: str, part: Part, pieces: int, source: PlaceKind
) -> list[tuple[str, list[ledger.Line]]]:
    if pieces < 1:
        return []
    # Pieces and milligrams are two units and so two lines: the piece leaves its bin, its mass
    # enters the frame.
    lines = [ledger.Line(places.bin_of(part), places.pieces(PlaceKind.WEARERS), pieces)]
    mass_mg = pieces * part.nominal_mg
    if source == PlaceKind.SALVAGE:
        # Nominal masses may add up to more than was salvaged by the scale; a place never goes below
        # zero.
        mass_mg = min(mass_mg, boxes.held_mg(places.mass(PlaceKind.SALVAGE)))
    if mass_mg:
        lines.append(ledger.Line(places.mass(source), places.mass(PlaceKind.BENCH), mass_mg))
    return [(name, lines)]


def salvaged_left(part: Part) -> int:
    """Return the pieces in the bin that came off stripped frames, less those fitted again."""
    bin_ = places.bin_of(part)
    rows = Posting.objects.filter(movement__kind="strip_down")
    # The reversal of a strip-down has the same kind and takes from the bin, so it is subtracted.
    gained = _pieces(rows.filter(target=bin_)) - _pieces(rows.filter(source=bin_))
    fitted = Posting.objects.filter(
        source=bin_,
        movement__kind="fit_part",
        movement__postings__source__kind=PlaceKind.SALVAGE,
        movement__reversed_by=None,
        movement__reverses=None,
    )
    return max(0, min(gained - _pieces(fitted), part_stock.held(part)))


def _pieces(rows: object) -> int:
    return rows.aggregate(total=Sum("quantity"))["total"] or 0  # type: ignore[attr-defined]


def _taken_off(step: JobStep) -> list[ledger.Line]:
    """The old component's nominal mass leaves the bench for its waste stream."""
    component = _replaced(step)
    if component is None:
        return []
    frame: ReturnedFrame = step.job.frame
    # Never more than lies there for this tag: a frame with much missing may weigh less than the
    # part that comes off.
    mass_mg = min(component.nominal_mg, on_bench_mg(frame))
    kind = _WASTE_OF.get(ComponentKind(component.kind), PlaceKind.FOREIGN)
    target: Place = places.mass(kind)
    return [ledger.Line(places.mass(PlaceKind.BENCH), target, mass_mg)] if mass_mg else []


def _replaced(step: JobStep) -> Component | None:
    """The component that a step takes off, unless it was missing from the start."""
    frame = step.job.frame
    if frame.colourway is None:
        return None
    key = step.component
    if step.remedy.method == Method.STEP_UP:
        # Stepping up is noted at the arm or hinge; what comes off is the old screw of that side.
        key = key.replace("arm_", "screw_").replace("hinge_", "screw_")
    elif step.remedy.method != Method.REPLACE:
        return None
    missing = step.job.grading.findings.filter(component=key, defect=DefectKey.MISSING)
    if step.remedy.defect == DefectKey.MISSING or missing.exists():
        return None
    made = catalogue.bill_of(frame.colourway).get(key)
    return made.piece if made else None
