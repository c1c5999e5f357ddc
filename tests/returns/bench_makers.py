"""Builders for the bench's tests: a filed request, a booked parcel, a frame on the shelf."""

from __future__ import annotations

import secrets
from datetime import timedelta

from django.contrib.auth.models import User

from returns.arriving import rules as arriving
from returns.arriving.rules import WeighIn
from returns.models import Colourway, Parcel, Person, Request, ReturnedFrame
from returns.story.sums import codes
from tests.makers import NOON, Shop, key

COMPLETE_G = "24,820"
"""What a whole Avocet weighs by its bill of materials: 24 820 mg."""


def filed(colourway: Colourway, **changes: object) -> Request:
    """A send-back that is awaited, straight into the table."""
    facts: dict[str, object] = {
        "reference": codes.new_code("Q"),
        "link_salt": "salt",
        "link_hash": secrets.token_hex(32),
        "key": key(),
        "kind": "send_back",
        "state": "awaited",
        "person": Person.objects.create(name="Pim Sandling", email="pim@example.org"),
        "colourway": colourway,
        "component": "arm_left",
        "defect": "snapped",
        "wish": "regrind",
        "filed_at": NOON - timedelta(days=4),
    }
    return Request.objects.create(**(facts | changes))


def booked(by: User, request: Request | None = None) -> Parcel:
    return arriving.book(key=key(), request=request, at=NOON, by=by)


def weighing(shop: Shop, **changes: object) -> WeighIn:
    facts: dict[str, object] = {
        "scale": shop.fine_scale,
        "mass": COMPLETE_G,
        "cleaned": True,
        "colourway": shop.avocet_slate,
    }
    return WeighIn(**(facts | changes))  # type: ignore[arg-type]


def on_shelf(
    shop: Shop, by: User, request: Request | None = None, **changes: object
) -> ReturnedFrame:
    """A frame that has just been weighed in, in a parcel that is still open."""
    parcel = booked(by, request)
    return arriving.weigh_in(
        key=key(),
        parcel=parcel,
        weighing=weighing(shop, request=request, **changes),
        at=NOON,
        by=by,
    )
