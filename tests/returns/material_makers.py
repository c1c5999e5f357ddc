"""Builders for frames of two materials: a marbled blend in front, plain arms, their own parts."""

from __future__ import annotations

from dataclasses import dataclass

from django.contrib.auth.models import User

from inventory.masters import rules as masters
from inventory.models import Colour, Part
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
