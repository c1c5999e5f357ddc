"""The claims sheet: what may be said in public, and what the evidence is too thin to say."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext_lazy as _

from inventory.pages.access import OWNER, allow
from returns.pages.owner.selection import chosen
from returns.queries import claims_sheet
from returns.queries.circularity import circularity

TITLES = {
    "recycled_content": _("Recycled content"),
    "closed_loop_share": _("Own returns in the material"),
    "take_back_rate": _("Take-back rate"),
    "repair_share": _("Repair share"),
    "recovery_yield": _("Recovery yield"),
}


@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Every statement, publishable or withheld, for the chosen months and model."""
    selection = chosen(request, at=timezone.now())
    facts: dict[str, Any] = {"selection": selection, "form": selection.form}
    if selection.is_good:
        found = circularity(selection.span, selection.scope)
        facts["found"] = found
        facts["lines"] = [
            {"title": TITLES[line.key], "line": line, "claim": line.claim}
            for line in claims_sheet.sheet(found)
        ]
    return render(
        request, "returns/owner/claims.html", facts, status=200 if selection.is_good else 400
    )
