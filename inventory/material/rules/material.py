"""Material that comes in, goes to moulding, is counted or thrown away, but for frames and runs."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.counting import Counted
from inventory.errors import BadInput
from inventory.events import Draft
from inventory.ledger.rules import ledger, places, scans
from inventory.material.queries import boxes
from inventory.material.rules.grinding import fresh_lot_code, is_nothing
from inventory.material.sums.heat import HeatSpread
from inventory.models import (
    Colour,
    Event,
    Lot,
    Movement,
    Origin,
    Place,
    PlaceKind,
    Polymer,
    Reading,
    Scale,
)
from inventory.weighing import rules as weighing

if TYPE_CHECKING:
    from django.contrib.auth.models import User

BOUGHT = frozenset({Origin.FEEDSTOCK, Origin.VIRGIN})
COUNTED = frozenset({PlaceKind.BOX, PlaceKind.LOT, PlaceKind.SALVAGE})
WASTE = frozenset(
    {
        PlaceKind.LENS,
        PlaceKind.METAL,
        PlaceKind.FOREIGN,
        PlaceKind.DUST,
        PlaceKind.PURGE,
        PlaceKind.MOISTURE,
        PlaceKind.FILM,
        PlaceKind.PAPER,
        PlaceKind.DIRT,
        PlaceKind.WASHED,
    }
)
BATCH_CODE_LENGTH_MAX = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Material:
    """What material is: its class, the heat passes behind it, and its cost in minor units."""

    polymer: Polymer
    colour: Colour
    origin: str
    heat: HeatSpread
    note: str = ""
    cost_minor: int = 0

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        kind = [self.polymer.code, self.colour.code, self.origin]
        return [kind, self.heat.to_list(), self.note, self.cost_minor]


@dataclass(frozen=True, slots=True, kw_only=True)
class Weighing:
    """A mass as typed, on its scale."""

    scale: Scale
    mass: str

    def read(self, at: datetime, field: str = "mass") -> Reading:
        """Store the reading and return it. Raises BadInput, naming `field`, for what is no mass."""
        return weighing.read(scale=self.scale, typed=self.mass, at=at, field=field)

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        return [self.scale.pk, self.mass.strip()]


def _brought(kind: str) -> Callable[[Material, Weighing], list[object]]:
    """Return the facts of material that comes in as one kind of movement."""
    # The kind is in the facts because several rules share one name of event.
    return lambda material, weighing: [kind, *material.facts(), *weighing.facts()]


def _movement_under(key: UUID) -> Movement:
    return Movement.objects.get(key=key)


def _lot_of(event: Event) -> Lot:
    return Lot.objects.get(code=event.subject)


@events.rule("material.into_box", facts=_brought("receive_feedstock"), again=_movement_under)
def receive_to_box(
    event: Draft, /, *, key: UUID, material: Material, weighing: Weighing, at: datetime, by: User
) -> Movement:
    """Put bought-in pieces into the regrind box of their class, to be ground here."""
    _refuse_not_bought(material)
    come = _Come(PlaceKind.SELLERS, "receive_feedstock", material, weighing)
    return _into_box(event, key, come, at, by)


@events.rule("material.as_lot", facts=_brought("receive_feedstock"), again=_lot_of)
def receive_as_lot(
    event: Draft, /, *, key: UUID, material: Material, weighing: Weighing, at: datetime, by: User
) -> Lot:
    """Make a lot of bought-in flake or pellets, which can be issued to moulding at once."""
    _refuse_not_bought(material)
    come = _Come(PlaceKind.SELLERS, "receive_feedstock", material, weighing)
    return _as_lot(event, key, come, at, by)


@events.rule("material.into_box", facts=_brought("return_scrap"), again=_movement_under)
def return_scrap(
    event: Draft, /, *, key: UUID, material: Material, weighing: Weighing, at: datetime, by: User
) -> Movement:
    """Put sprues, short shots and rejects of our own moulding into their own box, never mixed."""
    if material.origin != Origin.IN_PROCESS:
        raise BadInput(_("What comes back from moulding is in-process scrap."), field="origin")
    come = _Come(PlaceKind.PRESS, "return_scrap", material, weighing)
    return _into_box(event, key, come, at, by)


@events.rule("material.into_box", facts=_brought("press_purge"), again=_movement_under)
def keep_purge(
    event: Draft, /, *, key: UUID, material: Material, weighing: Weighing, at: datetime, by: User
) -> Movement:
    """Put what a purge or a colour change left into the box of such leavings, and no other."""
    if material.colour.kind != Colour.Kind.PURGE:
        raise BadInput(
            _("This is of no one colour: choose the box of colour changes, or let it be waste."),
            field="colour",
        )
    in_process = replace(material, origin=Origin.IN_PROCESS)
    come = _Come(PlaceKind.PRESS, "press_purge", in_process, weighing)
    return _into_box(event, key, come, at, by)


@events.rule(
    "material.waste_purge",
    facts=lambda weighing, reason: [*weighing.facts(), reason.strip()],
    again=_movement_under,
)
def waste_purge(
    event: Draft, /, *, key: UUID, weighing: Weighing, reason: str, at: datetime, by: User
) -> Movement:
    """Book what a purge or a colour change left at the press as waste; `reason` says of what."""
    _refuse_no_reason(reason)
    reading = weighing.read(at)
    waste = places.mass(PlaceKind.PURGE)
    line = ledger.Line(places.mass(PlaceKind.PRESS), waste, reading.mass_mg, reading)
    story = ledger.Story(subject=_subject(waste), actor=by, reason=reason.strip())
    movement = _posted(key, "press_purge", [line], at, story)
    event.of(_subject(waste), movement=movement.number)
    return movement


@events.rule("material.into_box", facts=_brought("opening"), again=_movement_under)
def open_box(
    event: Draft, /, *, key: UUID, material: Material, weighing: Weighing, at: datetime, by: User
) -> Movement:
    """Book what lay in a box before the ledger began."""
    come = _Come(PlaceKind.UNEXPLAINED, "opening", material, weighing)
    return _into_box(event, key, come, at, by)


@events.rule("material.as_lot", facts=_brought("opening"), again=_lot_of)
def open_lot(
    event: Draft, /, *, key: UUID, material: Material, weighing: Weighing, at: datetime, by: User
) -> Lot:
    """Book a lot that was there before the ledger began."""
    come = _Come(PlaceKind.UNEXPLAINED, "opening", material, weighing)
    return _as_lot(event, key, come, at, by)


@events.rule(
    "material.issue",
    facts=lambda lots, batch_code, scale: [
        {lot.code: typed.strip() for lot, typed in lots.items()},
        batch_code.strip(),
        scale.pk,
    ],
    again=_movement_under,
    aside=["scanned"],
)
def issue(
    event: Draft,
    /,
    *,
    key: UUID,
    lots: Mapping[Lot, str],
    scanned: Sequence[str],
    batch_code: str,
    scale: Scale,
    at: datetime,
    by: User,
) -> Movement:
    """Issue flake to moulding for one production batch. `lots` holds the typed mass of each lot,
    `scanned` the labels of those lots.

    Raises BadInput for nothing issued, WrongScan for the label of anything else, NotEnough when
    a lot holds less.
    """
    code = batch_code.strip()
    if not 1 <= len(code) <= BATCH_CODE_LENGTH_MAX:
        raise BadInput(_("Name the production batch, in up to 20 characters."), field="batch_code")
    wanted = {lot: typed for lot, typed in lots.items() if not is_nothing(typed)}
    if not wanted:
        raise BadInput(_("Weigh at least one lot."), field="lots")
    scans.require(scanned, [places.of_lot(lot) for lot in wanted])
    lines = []
    for lot, typed in wanted.items():
        reading = weighing.read(scale=scale, typed=typed, at=at, field=f"lot-{lot.pk}")
        target = places.mass(PlaceKind.PRESS)
        lines.append(ledger.Line(places.of_lot(lot), target, reading.mass_mg, reading))
    movement = _posted(key, "issue", lines, at, ledger.Story(subject=code, actor=by))
    event.of(code, movement=movement.number)
    return movement


@events.rule(
    "material.count",
    facts=lambda place, weighing, reason: [place.code, *weighing.facts(), reason.strip()],
    again=lambda key: Counted(Movement.objects.filter(key=key).first()),
)
def count(
    event: Draft,
    /,
    *,
    key: UUID,
    place: Place,
    weighing: Weighing,
    reason: str,
    at: datetime,
    by: User,
) -> Counted:
    """Put a box, a lot or the salvage bin right after a stock count; 0 means that it is empty."""
    if place.kind not in COUNTED:
        raise BadInput(_("Only boxes, lots and the salvage bin are counted."), field="place")
    _refuse_no_reason(reason)
    reading = None if is_nothing(weighing.mass) else weighing.read(at)
    # A count posts only the gap, so that the ledger keeps what was booked and what was found; a gap
    # of nothing needs no movement, and its event still says that somebody counted.
    gap_mg = (reading.mass_mg if reading else 0) - boxes.held_mg(place)
    movement = None
    if gap_mg:
        outside = places.mass(PlaceKind.UNEXPLAINED)
        source, target = (outside, place) if gap_mg > 0 else (place, outside)
        line = ledger.Line(source, target, abs(gap_mg), reading)
        story = ledger.Story(subject=_subject(place), actor=by, reason=reason.strip())
        movement = _posted(key, "count_mass", [line], at, story)
    event.of(_subject(place), movement=movement.number if movement else None)
    return Counted(movement)


@events.rule(
    "material.dispose",
    facts=lambda place, reason: [place.code, reason.strip()],
    again=_movement_under,
)
def dispose(
    event: Draft, /, *, key: UUID, place: Place, reason: str, at: datetime, by: User
) -> Movement:
    """Book that a waste stream was taken away whole; `reason` says by whom or where to."""
    _refuse_no_reason(reason)
    held_mg = boxes.held_mg(place)
    if place.kind not in WASTE or held_mg < 1:
        raise BadInput(_("There is nothing to dispose of at this place."), field="place")
    line = ledger.Line(place, places.mass(PlaceKind.SELLERS), held_mg)
    story = ledger.Story(subject=_subject(place), actor=by, reason=reason.strip())
    movement = _posted(key, "dispose", [line], at, story)
    event.of(_subject(place), movement=movement.number)
    return movement


@dataclass(frozen=True, slots=True)
class _Come:
    """Material that comes in: where from, as which kind of movement, and how much of what."""

    source: PlaceKind
    kind: str
    material: Material
    weighing: Weighing

    def posted(self, key: UUID, target: Place, story: ledger.Story, at: datetime) -> Movement:
        """Weigh the material and post it to `target`, with its cost and its heat passes."""
        reading = self.weighing.read(at)
        line = ledger.Line(places.mass(self.source), target, reading.mass_mg, reading)
        heat, cost_minor = self.material.heat.to_list(), self.material.cost_minor
        story = replace(story, heat=heat, cost_minor=cost_minor)
        return ledger.post(key=key, kind=self.kind, lines=[line], happened_at=at, story=story)


def _into_box(event: Draft, key: UUID, come: _Come, at: datetime, by: User) -> Movement:
    material = come.material
    _refuse_bad_material(material)
    box = places.box(polymer=material.polymer, colour=material.colour, origin=material.origin)
    story = ledger.Story(subject=_subject(box), actor=by, reason=material.note)
    movement = come.posted(key, box, story, at)
    event.of(_subject(box), movement=movement.number)
    return movement


def _as_lot(event: Draft, key: UUID, come: _Come, at: datetime, by: User) -> Lot:
    material = come.material
    _refuse_bad_material(material)
    lot = Lot.objects.create(
        code=fresh_lot_code(),
        polymer=material.polymer,
        colour=material.colour,
        origin=material.origin,
        heat=material.heat.to_list(),
        supplier_note=material.note,
        made_at=at,
    )
    story = ledger.Story(subject=lot.code, actor=by)
    movement = come.posted(key, places.of_lot(lot), story, at)
    event.of(lot.code, movement=movement.number)
    return lot


def _refuse_not_bought(material: Material) -> None:
    if material.origin not in BOUGHT:
        raise BadInput(
            _("Bought-in material is post-consumer feedstock or virgin. Choose one."),
            field="origin",
        )


def _refuse_bad_material(material: Material) -> None:
    if material.origin not in Origin.values:
        raise BadInput(_("Say where the material came from."), field="origin")
    if material.cost_minor < 0:
        raise BadInput(_("A cost cannot be below zero."), field="cost_minor")
    if len(material.note) > 120:
        raise BadInput(_("Keep the note to 120 characters."), field="note")


def _refuse_no_reason(reason: str) -> None:
    if not 1 <= len(reason.strip()) <= 200:
        raise BadInput(_("Say why, in up to 200 characters."), field="reason")


def _subject(place: Place) -> str:
    """Return a lot's own code, or any other place's, cut to the longest that a subject may be."""
    # The subject is for people and for search, never for finding the place again: a cut code may be
    # that of two boxes.
    return place.lot.code if place.lot else place.code[:40]


def _posted(
    key: UUID, kind: str, lines: list[ledger.Line], at: datetime, story: ledger.Story
) -> Movement:
    return ledger.post(key=key, kind=kind, lines=lines, happened_at=at, story=story)
