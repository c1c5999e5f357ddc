"""Builders for frames of two materials: a marbled blend in front, plain arms, their own parts."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth.models import User

from inventory.masters import rules as masters
from inventory.material.rules import cards, material
from inventory.material.sums import heat
from inventory.models import Colour, Lot, Origin, Part, RecipeCard
from returns.catalogue.rules import model_setup
from returns.models import Colourway
from tests.makers import NOON, Shop, key, stocked


@dataclass(frozen=True)
class TwoTone:
    """Front of a marbled blend (70 % slate, 30 % moss), arms of moss; and a dark colour."""

    tideline: Colour
    dark: Colour
    way: Colourway
    arm_left: Part
    arm_right: Part
    lens: Part


def blend(shop: Shop, by: User, **changes: object) -> Colour:
    facts: dict[str, object] = {
        "name": "Tideline",
        "code": "",
        "shares": ((shop.slate, 700_000), (shop.moss, 300_000)),
        "tolerance_ppm": 20_000,
        "is_marbled": True,
    }
    data = masters.NewBlend(**(facts | changes))  # type: ignore[arg-type]
    return masters.add_blend(key=key(), data=data, at=NOON, by=by)


def two_tone(shop: Shop, by: User) -> TwoTone:
    tideline = blend(shop, by)
    dark = Colour.objects.create(code="peat", name="Peat", swatch="#221d1a")
    sided = {"nominal_mg": 4_100, "price_minor": 160, "polymer": shop.pp, "colour": shop.moss}
    left, right = (
        Part.objects.create(code=f"arm-moss-{side}", name=f"Moss arm, {side}", side=side, **sided)
        for side in ("left", "right")
    )
    lens = Part.objects.create(
        code="lens-clear", name="Lens, clear", nominal_mg=2_600, tint="clear"
    )
    for part in (left, right, lens):
        stocked(part, 3)
    data = model_setup.NewColourway(
        model=shop.avocet,
        polymer=shop.pp,
        colour=tideline,
        name="Tideline, moss arms",
        lens_tint="clear",
        differing=(
            model_setup.Differing("arm_left", shop.pp, shop.moss, left),
            model_setup.Differing("arm_right", shop.pp, shop.moss, right),
            model_setup.Differing("lens_left", part=lens),
            model_setup.Differing("lens_right", part=lens),
        ),
    )
    way = model_setup.add_colourway(key=key(), data=data, at=NOON, by=by)
    return TwoTone(tideline, dark, way, left, right, lens)


def admit(into: Colour, by: User, *of: Colour) -> None:
    masters.set_admissions(key=key(), into=into, of=of, at=NOON, by=by)


def lot_of(shop: Shop, colour: Colour, mass: str, by: User, **changes: object) -> Lot:
    """A lot of flake in a colour, as it was bought."""
    facts: dict[str, object] = {
        "polymer": shop.pp,
        "colour": colour,
        "origin": Origin.FEEDSTOCK,
        "heat": heat.of_passes(1),
        "cost_minor": 0,
    }
    return material.receive_as_lot(
        key=key(),
        material=material.Material(**(facts | changes)),  # type: ignore[arg-type]
        weighing=material.Weighing(scale=shop.box_scale, mass=mass),
        at=NOON,
        by=by,
    )


def card(shop: Shop, by: User, blend: Colour, **changes: object) -> RecipeCard:
    facts: dict[str, object] = {
        "blend": blend,
        "polymer": shop.pp,
        "total_mg": 10_000_000,
        "batch_code": "AV-2610",
        "wanted_for": "fronts of Avocet, Tideline",
    }
    wanted = cards.Wanted(**(facts | changes))  # type: ignore[arg-type]
    return cards.plan(key=key(), wanted=wanted, at=NOON, by=by)
