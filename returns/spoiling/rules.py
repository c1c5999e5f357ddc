"""Booking spoiled pairs: pieces and grams, with the step and the cause."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.events import Draft
from inventory.ledger.rules import ledger, places
from inventory.material.rules.material import Weighing
from inventory.models import Movement, Origin, PlaceKind, Spoiled, Step
from returns.models import ProductionBatch
from returns.spoiling import queries

if TYPE_CHECKING:
    from django.contrib.auth.models import User

BOX, WASTE = "box", "waste"


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
    facts=lambda batch, what, weighing: [batch.code, *what.facts(), *weighing.facts()],
    again=lambda event: Movement.objects.get(number=event.detail["movement"]),
)
def book(
    event: Draft,
    /,
    *,
    key: UUID,
    batch: ProductionBatch,
    what: What,
    weighing: Weighing,
    at: datetime,
    by: User,
) -> Movement:
    """Book spoiled pairs of a batch into its box of in-process scrap, or into waste.

    Raises BadInput for an unknown step or cause, for more pairs than came out of the press, and
    for a box where the parts of a pair differ in material.
    """
    _refuse_bad(batch, what)
    reading = weighing.read(at)
    heat = None
    target = places.mass(PlaceKind.FOREIGN)
    if what.into == BOX:
        look = batch.colourway
        target = places.box(polymer=look.polymer, colour=look.colour, origin=Origin.IN_PROCESS)
        # The batch's spread has its moulding in it, which its spoiled pairs went through as well.
        heat = batch.heat
    line = ledger.Line(places.mass(PlaceKind.PRESS), target, reading.mass_mg, reading)
    movement = ledger.post(
        key=uuid.uuid5(key, "spoiled"),
        kind="return_scrap",
        lines=[line],
        happened_at=at,
        story=ledger.Story(subject=batch.code, actor=by, reason=what.cause, heat=heat),
    )
    Spoiled.objects.create(
        batch_code=batch.code,
        step=what.step,
        cause=what.cause,
        pieces=what.pieces,
        posting=movement.postings.get(),
    )
    event.of(batch.code, movement=movement.number)
    return movement


def _refuse_bad(batch: ProductionBatch, what: What) -> None:
    if what.step not in Step.values:
        raise BadInput(_("Say at which step they were spoiled."), field="step")
    if what.cause not in queries.causes():
        raise BadInput(_("Choose a cause from the owner's list."), field="cause")
    if what.pieces < 1:
        raise BadInput(_("Write how many pairs were spoiled."), field="pieces")
    if what.into not in (BOX, WASTE):
        raise BadInput(_("Say where they go."), field="into")
    if what.into == BOX and batch.colourway.differing.exists():
        raise BadInput(
            _("The parts of this pair differ in material: no one box takes it. Choose waste."),
            field="into",
        )
    if what.step == Step.MOULDING:
        return
    gone = queries.by_step(batch.code)
    left = batch.pieces - sum(gone[step] for step in Step.values if step != Step.MOULDING)
    if what.pieces > left:
        raise BadInput(
            _("Only %(left)s pairs of this batch came this far.") % {"left": left}, field="pieces"
        )
