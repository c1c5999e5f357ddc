"""What opens without a login: the partner's page behind its link, and the wearer's slip."""

from __future__ import annotations

from collections import Counter
from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from returns.filing.pages import filing
from returns.filing.pages.opening import once_open
from returns.models import PartnerSlip
from returns.partners import queries
from returns.partners import rules as partners
from returns.story.pages.personal import filing_page, personal

LINES_MAX = 400


@require_safe
@personal
def partner(request: HttpRequest, secret: str) -> HttpResponse:
    """How the partner's slips stand: codes, states and days, and nothing about any person."""
    found = queries.by_secret(secret)
    lines = queries.lines(found)
    facts = {
        "partner": found,
        "lines": lines[:LINES_MAX],
        "states": Counter(str(line.words) for line in lines).items(),
    }
    return render(request, "returns/customer/partner.html", facts)


@require_http_methods(["GET", "HEAD", "POST"])
@filing_page
def slip(request: HttpRequest, secret: str) -> HttpResponse:
    """File with a slip, once; after that it says how things stand, and no more.

    The shop that gave the slip out may have read its code, so it never opens the story.
    """
    found = queries.slip_by_secret(secret)
    if found.request is not None and not _is_repeat(request, found):
        return render(request, "returns/customer/slip_used.html", {"line": queries.line(found)})
    way = filing.Way(
        action=reverse("slip-filing", args=[secret]),
        rule=partial(partners.file, slip=found),
        slip=found,
    )
    return _open(request, way)


def _is_repeat(request: HttpRequest, found: PartnerSlip) -> bool:
    """Whether the very form that was filed is sent once more."""
    return found.request is not None and request.POST.get("key") == str(found.request.key)


def _open(request: HttpRequest, way: filing.Way) -> HttpResponse:
    @once_open
    def page(visit: HttpRequest) -> HttpResponse:
        return filing.return_page(visit, way)

    return page(request)
