"""A sheet of slips as PDF: each has a part for the wearer and one for the bag with the frame."""

from __future__ import annotations

from collections.abc import Sequence

from django.conf import settings
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils.translation import get_language

from inventory.models import Workshop
from returns.filing.pages import slip_pdf
from returns.filing.rules import intake
from returns.models import Partner, PartnerSlip


def make(partner: Partner, slips: Sequence[PartnerSlip]) -> bytes:
    """Draw the slips, eight on a page of A4.

    Raises:
        Conflict: the server's key that their links were made with is gone.
    """
    facts = {
        "partner": partner,
        "workshop": Workshop.the(),
        "language": get_language(),
        "slips": [_drawn(slip) for slip in slips],
    }
    return slip_pdf.drawn(render_to_string("returns/partner_sheet.html", facts))


def _drawn(slip: PartnerSlip) -> dict[str, str]:
    link = f"{settings.BASE_URL}{reverse('slip-filing', args=[intake.link_secret(slip)])}"
    return {
        "code": slip.code,
        # A sheet that is read on a screen has its links to press.
        "link": link,
        "wearer_qr": slip_pdf.qr(link),
        "bag_qr": slip_pdf.qr(f"{settings.BASE_URL}/go/{slip.code}/"),
    }
