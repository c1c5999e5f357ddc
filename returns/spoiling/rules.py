"""What comes back from moulding, by material: scrap, and spoiled pairs with step and cause."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from inventory.ledger.rules import ledger, places
from inventory.material.queries import admitted
from inventory.material.rules import material
from inventory.material.rules.material import Material, Weighing
from inventory.material.sums.heat import HeatSpread
from inventory.models import (
    Colour,
    Movement,
    Origin,
    PlaceKind,
    Reading,
    Scale,
    SpoilCause,
    Spoiled,
    Step,
)
from inventory.weighing.rules import read
from returns.catalogue import queries as catalogue
from returns.models import ProductionBatch
from returns.moulding import queries as moulded
from returns.spoiling import queries

if TYPE_CHECKING:
    from django.contrib.auth.models import User

BOX, WASTE = "box", "waste"
HEAPS_MAX: Final = 4
FIELDS: Final = ("mass", *["other_mass"] * (HEAPS_MAX - 1))
"""The field that is wrong when the mass of a heap is, by its place."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrapHeap:
    """A heap of spoiled material: its mass as typed, and the colour of its box.

    Without a colour it is of the batch's one material.
    """

    mass: str
    into: Colour | None = None

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        # A heap of a batch of one material is told as it always was.
        return [*([self.into.code] if self.into else []), self.mass.strip()]


@dataclass(frozen=True, slots=True, kw_only=True)
class What:
    """What was spoiled: at which step, by which cause, how many pairs, and where they go."""

    step: str
    cause: str
    pieces: int
    into: str = BOX

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        return [self.step, self.cause, self.pieces, self.into]


@events.rule(
    "spoiling.book",
    facts=lambda batch, what, scale, heaps: [
        batch.code,
        *what.facts(),
        scale.pk,
        *(fact for heap in heaps for fact in heap.facts()),
    ],
    again=lambda event: Movement.objects.get(number=event.detail["movement"]),
)
def book(
    event: Draft,
    /,
    *,
    key: UUID,
    batch: ProductionBatch,
    what: What,
    scale: Scale,
    heaps: Sequence[ScrapHeap],
    at: datetime,
    by: User,
) -> Movement:
    """Book spoiled pairs of a batch into its boxes of in-process scrap, or into waste.

    Raises BadInput for an unknown step or cause, for more pairs than came out of the press, for
    two heaps of one box, and for a box that does not take what lies in the heap.
    """
    _refuse_bad(batch, what, heaps)
    lines = [
        _line(batch, what, heap, read(scale=scale, typed=heap.mass, at=at, field=field))
        for heap, field in zip(heaps, FIELDS, strict=False)
    ]
    movement = ledger.post(
        key=uuid.uuid5(key, "spoiled"),
        kind="return_scrap",
        lines=lines,
        happened_at=at,
        story=ledger.Story(subject=batch.code, actor=by, reason=what.cause),
    )
    for index, posting in enumerate(movement.postings.order_by("line")):
        Spoiled.objects.create(
            batch_code=batch.code,
            step=what.step,
            cause=what.cause,
            pieces=0 if index else what.pieces,
            posting=posting,
        )
    event.of(batch.code, movement=movement.number)
    return movement


@events.rule(
    "spoiling.return_scrap",
    facts=lambda batch, into, weighing: [
        batch.code,
        into.code if into else "",
        *weighing.facts(),
    ],
    again=lambda event: Movement.objects.get(number=event.detail["movement"]),
)
def return_scrap(
    event: Draft,
    /,
    *,
    key: UUID,
    batch: ProductionBatch,
    into: Colour | None,
    weighing: Weighing,
    at: datetime,
    by: User,
) -> Movement:
    """Put sprues and runners of a batch into the box of their material.

    Raises BadInput where front and arms differ and nobody says which it is, and for a box that
    does not take it.
    """
    movement = material.return_scrap(
        key=uuid.uuid5(key, "scrap"),
        material=scrap_of(batch, into, field="colour"),
        weighing=weighing,
        at=at,
        by=by,
    )
    event.of(batch.code, movement=movement.number)
    return movement


def scrap_of(batch: ProductionBatch, into: Colour | None, *, field: str) -> Material:
    """Return what scrap of a batch is in the box of `into`, with the heat passes that it has.

    The box is that of one of the batch's materials, or one that takes all of them together by the
    table of what may go with what. Raises BadInput, naming `field`, for any other.
    """
    look = batch.colourway
    materials = catalogue.materials_of(look)
    if into is None and len(materials) > 1:
        raise BadInput(
            _("Front and arms of this batch differ in material. Say into which box this goes."),
            field=field,
        )
    colour = into or materials[0].colour
    own = next((one for one in materials if one.colour == colour), None)
    if own is None:
        _refuse_mixing(materials, colour, field)
    # The batch's spread has its moulding in it, which its scrap went through as well.
    spread = moulded.heat_in(batch, own) if own else HeatSpread.from_list(batch.heat)
    return Material(
        polymer=(own or materials[0]).polymer,
        colour=colour,
        origin=Origin.IN_PROCESS,
        heat=spread,
        note=batch.code,
    )


def _refuse_mixing(materials: Sequence[catalogue.Material], colour: Colour, field: str) -> None:
    is_one_polymer = len({one.polymer.pk for one in materials}) == 1
    if not is_one_polymer or not admitted.takes(colour, [one.colour for one in materials]):
        raise BadInput(
            _(
                "By the table of what may go with what, the box of %(colour)s does not take "
                "this. Choose another box, or let it be waste."
            )
            % {"colour": colour.name},
            field=field,
        )


def _line(batch: ProductionBatch, what: What, heap: ScrapHeap, reading: Reading) -> ledger.Line:
    press = places.mass(PlaceKind.PRESS)
    if what.into == WASTE:
        return ledger.Line(press, places.mass(PlaceKind.FOREIGN), reading.mass_mg, reading)
    scrap = scrap_of(batch, heap.into, field="colour")
    box = places.box(polymer=scrap.polymer, colour=scrap.colour, origin=Origin.IN_PROCESS)
    return ledger.Line(press, box, reading.mass_mg, reading, scrap.heat.to_list())


def _refuse_bad(batch: ProductionBatch, what: What, heaps: Sequence[ScrapHeap]) -> None:
    if what.step not in Step.values:
        raise BadInput(_("Say at which step they were spoiled."), field="step")
    if what.cause not in SpoilCause.offered():
        raise BadInput(_("Choose a cause from the owner's list."), field="cause")
    if what.pieces < 1:
        raise BadInput(_("Write how many pairs were spoiled."), field="pieces")
    if what.into not in (BOX, WASTE):
        raise BadInput(_("Say where they go."), field="into")
    _refuse_bad_heaps(batch, what, heaps)
    if what.step == Step.MOULDING:
        return
    gone = queries.by_step(batch.code)
    left = batch.pieces - sum(gone[step] for step in Step.values if step != Step.MOULDING)
    if what.pieces > left:
        raise BadInput(
            _("Only %(left)s pairs of this batch came this far.") % {"left": left}, field="pieces"
        )


def _refuse_bad_heaps(batch: ProductionBatch, what: What, heaps: Sequence[ScrapHeap]) -> None:
    boxes = [(heap.into or batch.colourway.colour).pk for heap in heaps]
    if not 1 <= len(heaps) <= HEAPS_MAX or len(set(boxes)) < len(boxes):
        raise BadInput(_("Name each box once, up to four of them."), field="colour")
    if what.into == WASTE and len(heaps) > 1:
        raise BadInput(_("Waste is weighed together."), field="other_mass")
