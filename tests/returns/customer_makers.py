"""Builders for what customers do: Wanda (the person who files) and her filings."""

from __future__ import annotations

import uuid
from dataclasses import replace
from datetime import datetime
from typing import Any

from returns import intake
from returns.intake import Filing
from returns.models import Request
from returns.people import Contact
from tests.makers import NOON, Shop

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
