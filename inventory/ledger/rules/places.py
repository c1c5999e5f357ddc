"""Finding places, making those that exist once per material, part or lot, and naming them."""

from __future__ import annotations

from inventory.ledger.queries import naming
from inventory.models import Colour, Lot, Part, Place, PlaceKind, Polymer, Unit
from inventory.models.places import BOUNDARY


def mass(kind: PlaceKind) -> Place:
    """The one place of a kind that holds milligrams, such as the arrivals shelf."""
    return _the(kind, Unit.MILLIGRAM)


def pieces(kind: PlaceKind) -> Place:
    """The one boundary place of a kind that counts pieces."""
    return _the(kind, Unit.PIECE)


def box(*, polymer: Polymer, colour: Colour, origin: str) -> Place:
    """The regrind box of one polymer, colour and origin."""
    code = f"box-{polymer.code}-{colour.code}-{origin}".lower()
    # Found by its class and not by its code, as the constraint has it that settles two callers who
    # make the same box at once.
    return Place.objects.get_or_create(
        kind=PlaceKind.BOX,
        polymer=polymer,
        colour=colour,
        origin=origin,
        defaults={"code": code, "unit": Unit.MILLIGRAM},
    )[0]


def of_lot(lot: Lot) -> Place:
    """The place of a flake lot."""
    return Place.objects.get_or_create(
        lot=lot,
        defaults={
            "code": f"lot-{lot.code}".lower(),
            "kind": PlaceKind.LOT,
            "unit": Unit.MILLIGRAM,
            "polymer": lot.polymer,
            "colour": lot.colour,
            "origin": lot.origin,
        },
    )[0]


def bin_of(part: Part) -> Place:
    """The bin of a spare part."""
    return Place.objects.get_or_create(
        kind=PlaceKind.BIN,
        part=part,
        defaults={"code": naming.bin_code(part.code), "unit": Unit.PIECE},
    )[0]


def _the(kind: PlaceKind, unit: Unit) -> Place:
    """The one place of a kind and unit, found by what it is: its code may be of an earlier name.

    A code is given once, for closed months are told by it; a kind may be named anew.
    """
    # The world outside gives and takes both grams and pieces, but a place holds one unit: hence
    # two.
    suffix = "-pieces" if unit == Unit.PIECE and kind in BOUNDARY else ""
    return Place.objects.get_or_create(
        kind=kind, unit=unit, defaults={"code": f"{kind.value}{suffix}"}
    )[0]
