"""What a colourway is made of, component by component, and which part fits which. Reads only."""

from __future__ import annotations

import copy
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from math import isqrt

from django.utils.translation import gettext as _

from inventory.models import Colour, Part, Polymer
from returns.models import Colourway, Component, DifferingComponent
from returns.models.catalogue import ComponentKind


@dataclass(frozen=True, slots=True)
class Material:
    """A polymer in a colour; the colour may be a blend."""

    polymer: Polymer
    colour: Colour

    @property
    def code(self) -> str:
        return f"{self.polymer.code}/{self.colour.code}"

    def __str__(self) -> str:
        return f"{self.polymer.code} · {self.colour.name}"


@dataclass(frozen=True, slots=True)
class Made:
    """A component as a colourway has it. Spare part and mass of `piece` are this colourway's;
    `material` is None for what is no frame material."""

    piece: Component
    material: Material | None
    tint: str

    @property
    def look(self) -> str | None:
        """What a spare must have alike to be the same to the eye; None for what is not seen."""
        if self.material is not None:
            return self.material.code
        return self.tint or None


@dataclass(frozen=True, slots=True)
class Heap:
    """What the bill expects of one material: mass and one standard deviation, in mg."""

    material: Material
    keys: tuple[str, ...]
    nominal_mg: int
    spread_mg: int
    is_main: bool


def bills_of(colourways: Iterable[Colourway]) -> dict[int, dict[str, Made]]:
    """Return by colourway and component key what each is made of. Two questions for all."""
    ways = {way.pk: way for way in colourways}
    rows = Component.objects.filter(model__in={way.model_id for way in ways.values()})
    pieces: dict[int, list[Component]] = {}
    for piece in rows.select_related("part", "model").order_by("model", "key"):
        pieces.setdefault(piece.model_id, []).append(piece)
    own = DifferingComponent.objects.filter(colourway__in=ways)
    differing = {
        (one.colourway_id, one.key): one
        for one in own.select_related("polymer", "colour", "part").order_by()
    }
    return {
        pk: {
            piece.key: _made(way, piece, differing.get((pk, piece.key)))
            for piece in pieces.get(way.model_id, [])
        }
        for pk, way in ways.items()
    }


def bill_of(colourway: Colourway) -> dict[str, Made]:
    """Return by component key what one colourway is made of."""
    return bills_of([colourway])[colourway.pk]


def materials_of(colourway: Colourway) -> tuple[Material, ...]:
    """Return the frame materials of a colourway, each once, its main one first."""
    return tuple(heap.material for heap in heaps(colourway, bill_of(colourway)))


def heaps(
    colourway: Colourway, bill: Mapping[str, Made], *, without: Iterable[str] = ()
) -> tuple[Heap, ...]:
    """Return what a frame comes apart into by material, its main material first, by the bill less
    the components in `without`. Spreads of single pieces are independent: they add as squares."""
    gone = set(without)
    found: dict[Material, list[Component]] = {main_of(colourway): []}
    for made in bill.values():
        if made.material is not None:
            kept = found.setdefault(made.material, [])
            kept += [] if made.piece.key in gone else [made.piece]
    return tuple(
        Heap(
            material,
            tuple(piece.key for piece in pieces),
            sum(piece.nominal_mg for piece in pieces),
            isqrt(sum(piece.spread_mg**2 for piece in pieces)),
            material == main_of(colourway),
        )
        for material, pieces in found.items()
        # A main material that no component is of is none.
        if any(made.material == material for made in bill.values()) or len(found) == 1
    )


def main_of(colourway: Colourway) -> Material:
    """Return the material of every component that does not differ."""
    return Material(colourway.polymer, colourway.colour)


def spares_of(colourway: Colourway) -> list[Part]:
    """Return the spare parts that a colourway is built with, each once."""
    parts = {made.piece.part for made in bill_of(colourway).values() if made.piece.part}
    return sorted(parts, key=lambda part: part.code)


def misfit(part: Part, key: str, material: Material | None, tint: str) -> str:
    """Say why a part cannot be the spare part of a component; "" when it can."""
    if part.side and not key.endswith(f"_{part.side}"):
        return _("%(part)s is for the other side.") % {"part": part.name}
    if part.colour_id is not None and (
        material is None
        or (part.polymer_id, part.colour_id) != (material.polymer.pk, material.colour.pk)
    ):
        return _("%(part)s is of another material.") % {"part": part.name}
    if part.tint and part.tint != tint:
        return _("%(part)s has another tint.") % {"part": part.name}
    return ""


def _made(way: Colourway, piece: Component, own: DifferingComponent | None) -> Made:
    material = _material(way, own) if piece.is_frame_material else None
    tint = way.lens_tint if piece.kind == ComponentKind.LENS else ""
    part = own.part if own is not None and own.part is not None else piece.part
    # A bill's part may be of one material or side: it is no spare part of what it does not fit.
    fitting = None if part is not None and misfit(part, piece.key, material, tint) else part
    masses = piece.nominal_mg, piece.spread_mg
    if own is not None and own.nominal_mg is not None and own.spread_mg is not None:
        masses = own.nominal_mg, own.spread_mg
    if (fitting, masses) != (piece.part, (piece.nominal_mg, piece.spread_mg)):
        # A copy, never saved: the bill's own line is shared by every colourway of the model.
        piece = copy.copy(piece)
        piece.part = fitting
        piece.nominal_mg, piece.spread_mg = masses
    return Made(piece, material, tint)


def _material(way: Colourway, own: DifferingComponent | None) -> Material:
    if own is None or own.polymer is None or own.colour is None:
        return main_of(way)
    return Material(own.polymer, own.colour)


def by_material(colourways: Collection[Colourway]) -> dict[int, tuple[Heap, ...]]:
    """Return the heaps of several colourways, by id. Two questions for all."""
    bills = bills_of(colourways)
    return {way.pk: heaps(way, bills[way.pk]) for way in colourways}


@dataclass(frozen=True, slots=True)
class PieceMass:
    """What the bill says of one piece, in mg: its frame material with one standard deviation, and
    all else."""

    frame_mg: int
    spread_mg: float
    rest_mg: int


def piece_masses(colourways: Collection[Colourway]) -> dict[int, PieceMass]:
    """Return the masses of a piece of each colourway, by id. Two questions for all."""
    found = {}
    for pk, bill in bills_of(colourways).items():
        frame = [made.piece for made in bill.values() if made.piece.is_frame_material]
        whole_mg = sum(made.piece.nominal_mg for made in bill.values())
        frame_mg = sum(piece.nominal_mg for piece in frame)
        # The components' spreads are independent of each other, so they add as squares.
        spread_mg = sum(piece.spread_mg**2 for piece in frame) ** 0.5
        found[pk] = PieceMass(frame_mg, spread_mg, whole_mg - frame_mg)
    return found
