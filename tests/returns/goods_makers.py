"""Loads of goods as the door takes them in: with a giver and a link. Invented names."""

from __future__ import annotations

import io
from typing import Any

from django.contrib.auth.models import User
from PIL import Image

from inventory.goods import rules as loads
from inventory.goods.rules import Goods, Net, Sorted, TakenOut
from inventory.material.rules.material import Weighing
from inventory.models import Load
from returns.filing.rules import photos
from returns.goods import rules
from returns.goods.rules import Who
from returns.models import Evidence
from tests.makers import NOON, Shop, key

NAMED = Who(name="Tern Nursery", contact="tern@example.org")


def taken_in(shop: Shop, by: User, mass: str = "10 kg", who: Who = NAMED, **changes: Any) -> Load:
    goods = {"kind": "plant-pots", "giver_class": "nursery", "way": "given"} | changes
    weighed = Weighing(scale=shop.box_scale, mass=mass)
    return rules.take_in(key=key(), goods=Goods(**goods), weighing=weighed, who=who, at=NOON, by=by)


def kept(shop: Shop, by: User, **changes: Any) -> Load:
    """A load on the sorting table with some of it kept for somebody."""
    load = taken_in(shop, by, **changes)
    out = TakenOut(stream="polymer", went="kept", note="PE for Sluice Crates")
    weighed = Weighing(scale=shop.box_scale, mass="300 g")
    return loads.take_out(key=key(), load=load, out=out, weighing=weighed, at=NOON, by=by)


def sorted_load(shop: Shop, by: User, net: str = "8 kg", **changes: Any) -> Load:
    nets = [Net(polymer=shop.pp, colour=shop.slate, mass=net)]
    out = Sorted(scale=shop.box_scale, nets=nets)
    return loads.finish(key=key(), load=kept(shop, by, **changes), out=out, at=NOON, by=by)


def image() -> io.BytesIO:
    """A small PNG as a phone might send it."""
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "#5c6b3c").save(out, "PNG")
    out.seek(0)
    return out


def evidence(load: Load, by: User) -> Evidence:
    file = image()
    picture = photos.redraw(file, size_bytes=file.getbuffer().nbytes)
    return rules.add_evidence(
        key=key(), load=load, kind="declaration", note="signed", picture=picture, at=NOON, by=by
    )
