"""The two papers of the counter, as PDF: the slip that is signed, and the receipt."""

from __future__ import annotations

from typing import Any

from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import get_language

from inventory import clock
from inventory.models import Workshop
from returns.filing.pages import slip_pdf


def consent(facts: dict[str, Any]) -> bytes:
    """The slip on which a customer signs what may be done with the frame."""
    return _drawn("returns/counter_consent.html", facts)


def receipt(facts: dict[str, Any]) -> bytes:
    """What was taken in, for the customer; `link` opens the story and is drawn as a QR code."""
    return _drawn("returns/counter_receipt.html", facts | {"qr": slip_pdf.qr(facts["link"])})


def _drawn(template: str, facts: dict[str, Any]) -> bytes:
    common = {
        "workshop": Workshop.the(),
        "language": get_language(),
        "today": clock.day_of(timezone.now()),
    }
    return slip_pdf.drawn(render_to_string(template, common | facts))
