"""Builders for what customers do: Wanda (the person who files) and her filings."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import datetime
from typing import Any

from inventory.ledger.rules import places
from inventory.models import Lot, Reading
from returns.customers.rules import Contact
from returns.filing.rules import intake
from returns.filing.rules.intake import Filing
from returns.models import FrameHeap, Parcel, Request, ReturnedFrame
from tests.makers import NOON, Shop, key

WANDA = Contact(
    name="Wanda Reed",
    email="wanda@example.org",
    street="7 Towpath",
    extra="",
    postal_code="12345",
    city="Saltmarsh",
    region="",
    country="DE",
)


def filing(shop: Shop, **changes: Any) -> Filing:
    plain = Filing(
        colourway=shop.avocet_slate,
        component="arm_left",
        defect="snapped",
        note="It fell off the table.",
        wish="regrind",
        lenses_back=False,
        notice_version=intake.NOTICE_VERSION,
        contact=WANDA,
    )
    return replace(plain, **changes)


def screws(shop: Shop, **changes: Any) -> Filing:
    facts = {"component": "screw_left", "defect": "missing", "wish": ""} | changes
    return filing(shop, **facts)


def sent_back(shop: Shop, *, at: datetime = NOON, **changes: Any) -> Request:
    return intake.file_return(key=uuid.uuid4(), filing=filing(shop, **changes), at=at)


def asked_screws(shop: Shop, *, at: datetime = NOON, **changes: Any) -> Request:
    return intake.ask_screws(key=uuid.uuid4(), filing=screws(shop, **changes), at=at)


def arrived(shop: Shop, request: Request, **changes: Any) -> ReturnedFrame:
    reading = Reading.objects.create(
        scale=shop.fine_scale,
        typed="22.4",
        mass_mg=22_400,
        u_own_ug=1,
        u_shared_ug=1,
        flags=[],
        at=NOON,
    )
    parcel = Parcel.objects.create(code="P-1", key=key(), request=request, arrived_at=NOON)
    facts = {
        "tag": "F-2222-2222",
        "key": key(),
        "parcel": parcel,
        "request": request,
        "colourway": shop.avocet_slate,
        "state": "weighed",
        "wish": request.wish,
        "lenses_back": request.lenses_back,
        "cleaned_at": NOON,
        "reading": reading,
        "weighed_at": NOON,
        "promised_by": NOON.date(),
    }
    return ReturnedFrame.objects.create(**(facts | changes))


def heaped(frame: ReturnedFrame, lot: Lot) -> ReturnedFrame:
    """A ground frame with its one heap, as the strip-down and the run would have left it."""
    box = places.box(polymer=lot.polymer, colour=lot.colour, origin=lot.origin)
    FrameHeap.objects.create(frame=frame, box=box, mass_mg=frame.boxed_mg, lot=lot)
    return frame
