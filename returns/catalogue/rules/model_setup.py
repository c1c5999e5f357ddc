"""Entering what is sold and how it is mended: a first model with its bill, remedies, limits."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.utils.text import slugify
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.masters import rules as masters
from inventory.models import Colour, Part, Polymer
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import Material
from returns.catalogue.rules.starting_remedies import STARTING, Starting
from returns.models import (
    Colourway,
    Component,
    DifferingComponent,
    FrameModel,
    Policy,
    Remedy,
    RemedyPart,
)
from returns.models.catalogue import RimShape

if TYPE_CHECKING:
    from django.contrib.auth.models import User

CODE_LENGTH_MAX: Final = 30
_PPM_PER_PERCENT: Final = 10_000


@dataclass(frozen=True, slots=True)
class Bill:
    """The masses of one of each, in mg; 0 for what the model does not have. Two sides are alike.

    `spread_ppm` is one standard deviation of a piece, as a share of its mass.
    """

    front_mg: int
    arm_mg: int
    lens_mg: int
    screw_mg: int
    spread_ppm: int
    wall_um: int | None = None


@dataclass(frozen=True, slots=True)
class NewModel:
    """A frame model as its maker knows it."""

    name: str
    code: str
    new_frame_cost_minor: int
    expected_life_months: int
    polymer: Polymer
    colours: tuple[Colour, ...]
    bill: Bill
    arm_part: Part | None = None
    screw_part: Part | None = None
    rim: str = RimShape.PANTO

    def facts(self) -> list[Any]:
        """Return what was asked, for the fingerprint."""
        parts = [part.code if part else "" for part in (self.arm_part, self.screw_part)]
        colours = [colour.code for colour in self.colours]
        costs = [self.new_frame_cost_minor, self.expected_life_months]
        head = [self.name, self.code, str(self.rim), *costs]
        return [head, self.polymer.code, colours, parts, str(self.bill)]


@events.rule(
    "furnishing.add_model",
    facts=lambda data: data.facts(),
    again=lambda event: FrameModel.objects.get(code=event.subject),
)
def add_model(event: Draft, /, *, key: UUID, data: NewModel, at: datetime, by: User) -> FrameModel:
    """Enter a model with its bill of materials and its colours. BadInput names the field."""
    if not data.colours:
        raise BadInput(_("Tick at least one colour."), field="colours")
    model = FrameModel(
        code=data.code or slugify(data.name)[:CODE_LENGTH_MAX].strip("-"),
        name=data.name,
        rim=data.rim,
        new_frame_cost_minor=data.new_frame_cost_minor,
        expected_life_months=data.expected_life_months,
    )
    masters.keep(model)
    for line in _lines(data):
        masters.keep(Component(model=model, **line))
    for colour in data.colours:
        masters.keep(Colourway(model=model, polymer=data.polymer, colour=colour))
    event.of(model.code)
    return model


@dataclass(frozen=True, slots=True)
class Differing:
    """A component of a colourway that is otherwise: None where it is as for the rest."""

    key: str
    polymer: Polymer | None = None
    colour: Colour | None = None
    part: Part | None = None

    def facts(self) -> list[str]:
        """Return what was asked, for the fingerprint."""
        codes = (self.polymer, self.colour, self.part)
        return [self.key, *(row.code if row else "" for row in codes)]


@dataclass(frozen=True, slots=True)
class NewColourway:
    """What a model is made of in one look: its main material, and the components that differ."""

    model: FrameModel
    polymer: Polymer
    colour: Colour
    differing: tuple[Differing, ...] = ()
    name: str = ""
    lens_tint: str = ""

    def facts(self) -> list[Any]:
        """Return what was asked, for the fingerprint."""
        head = [self.model.code, self.polymer.code, self.colour.code, self.name, self.lens_tint]
        return [head, sorted(one.facts() for one in self.differing)]


@events.rule(
    "furnishing.add_colourway",
    facts=lambda data: data.facts(),
    again=lambda event: Colourway.objects.get(pk=event.detail["id"]),
)
def add_colourway(
    event: Draft, /, *, key: UUID, data: NewColourway, at: datetime, by: User
) -> Colourway:
    """Enter a colourway whose components differ. BadInput names the field.

    Raises Conflict when the model has this look already.
    """
    if not data.differing and not data.lens_tint:
        raise BadInput(_("Say what differs: the arms, a spare part or the tint."), field="arms")
    if data.differing and not data.name:
        raise BadInput(_("Give this look a name, such as “Tideline, moss arms”."), field="name")
    bill = {piece.key: piece for piece in data.model.components.all()}
    for one in data.differing:
        _refuse_misfit(data, one, bill.get(one.key))
    variant = slugify(data.name)[:CODE_LENGTH_MAX].strip("-")
    known = Colourway.objects.filter(model=data.model, colour=data.colour, variant=variant)
    # For the sentence alone: of two hands at once, the unique columns refuse the second.
    if known.exists():
        raise Conflict(_("This model has a look of that name and colour already."), field="name")
    way = Colourway(
        model=data.model,
        polymer=data.polymer,
        colour=data.colour,
        variant=variant,
        name=data.name,
        lens_tint=data.lens_tint,
    )
    masters.keep(way)
    for one in data.differing:
        row = DifferingComponent(colourway=way, key=one.key, part=one.part)
        row.polymer, row.colour = one.polymer, one.colour
        masters.keep(row)
    event.of(f"colourway-{way.pk}", id=way.pk)
    return way


def _refuse_misfit(data: NewColourway, one: Differing, piece: Component | None) -> None:
    if piece is None:
        raise BadInput(_("This model has no such component."), field=one.key)
    if one.colour is not None and not piece.is_frame_material:
        raise BadInput(_("Only frame material has a colour of its own."), field=one.key)
    if one.part is None:
        return
    main = Material(data.polymer, data.colour)
    own = Material(one.polymer, one.colour) if one.polymer and one.colour else main
    material = own if piece.is_frame_material else None
    why = catalogue.misfit(one.part, one.key, material, data.lens_tint)
    if why:
        raise BadInput(why, field=one.key)


def _lines(data: NewModel) -> Iterator[dict[str, Any]]:
    bill = data.bill
    yield _line("front", "front", bill.front_mg, bill, is_frame_material=True, wall_um=bill.wall_um)
    arm = {"is_frame_material": True, "wall_um": bill.wall_um, "part": data.arm_part}
    screw = {"part": data.screw_part, "in_kit": data.screw_part is not None}
    for side in ("left", "right"):
        yield _line(f"arm_{side}", "arm", bill.arm_mg, bill, **arm)
        if bill.lens_mg:
            yield _line(f"lens_{side}", "lens", bill.lens_mg, bill)
        if bill.screw_mg:
            yield _line(f"screw_{side}", "screw", bill.screw_mg, bill, **screw)


def _line(key: str, kind: str, mass_mg: int, bill: Bill, **more: Any) -> dict[str, Any]:
    """Return a line of the bill. A spread below 1 mg is written as 1: no piece is exact."""
    # Whole numbers from end to end: parts per million of milligrams, rounded down.
    spread_mg = max(1, mass_mg * bill.spread_ppm // 1_000_000)
    if spread_mg >= mass_mg:
        raise BadInput(_("The spread is smaller than the mass itself."), field="spread")
    return {"key": key, "kind": kind, "nominal_mg": mass_mg, "spread_mg": spread_mg, **more}


def on_offer() -> tuple[Starting, ...]:
    """Return the starting remedies for which the workshop has none such yet."""
    taken = set(Remedy.objects.values_list("component_kind", "defect", "method"))
    return tuple(one for one in STARTING if (*one.answers, one.method) not in taken)


@events.rule(
    "furnishing.take_remedies",
    facts=lambda chosen, larger_screw: [sorted(chosen), larger_screw.code if larger_screw else ""],
    again=lambda event: len(event.detail["taken"]),
)
def take_remedies(
    event: Draft,
    /,
    *,
    key: UUID,
    chosen: Sequence[str],
    larger_screw: Part | None,
    at: datetime,
    by: User,
) -> int:
    """Enter the chosen starting remedies and return how many. Those taken before stay as they are.

    Raises BadInput when stepping up is chosen and no larger screw is named.
    """
    taking = [one for one in on_offer() if one.key in chosen]
    if not taking:
        raise BadInput(_("Tick at least one remedy."), field="chosen")
    if larger_screw is None and any(one.needs_larger_screw for one in taking):
        raise BadInput(
            _("Stepping up needs the next larger screw. Choose it, or untick those remedies."),
            field="larger_screw",
        )
    for one in taking:
        _enter(one, larger_screw)
    event.of("remedies", taken=[one.key for one in taking])
    return len(taking)


def _enter(one: Starting, larger_screw: Part | None) -> None:
    kind, defect = one.answers
    remedy = Remedy(
        key=one.key,
        # Translated now and kept so: what the owner sees is theirs to change, and changes no more
        # by itself.
        name=_(one.name),
        component_kind=kind,
        defect=defect,
        method=one.method,
        minutes=one.minutes,
        odds_ppm=one.odds_percent * _PPM_PER_PERCENT,
        steps="\n".join(_(step) for step in one.steps),
        caution=_(one.caution) if one.caution else "",
    )
    masters.keep(remedy)
    if one.needs_larger_screw:
        RemedyPart.objects.create(remedy=remedy, part=larger_screw)
    elif one.uses_own_part:
        # No part named means the broken component's own, whatever the model.
        RemedyPart.objects.create(remedy=remedy, part=None)


@events.rule("masters.set_limits", facts=masters.sealed, again=masters.as_it_stands(Policy))
def set_limits(
    event: Draft, /, *, key: UUID, facts: Mapping[str, Any], at: datetime, by: User
) -> Policy:
    """Set the owner's limits on mending and on kits."""
    return masters.entered(event, Policy.the(), facts)
