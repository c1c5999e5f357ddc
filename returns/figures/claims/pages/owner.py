"""The claims sheet: what may be said in public, and what the evidence is too thin to say."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.queries import OWNER
from returns.figures.circularity.queries.circularity import circularity
from returns.figures.claims import rules as publishing
from returns.figures.claims.queries import claims_sheet
from returns.figures.claims.queries.public_claims import public_claims
from returns.figures.span.pages import chosen

TITLES = {
    "recycled_content": _("Recycled content"),
    "closed_loop_share": _("Own returns in the material"),
    "take_back_rate": _("Take-back rate"),
    "repair_share": _("Repair share"),
    "recovery_yield": _("Recovery yield"),
}


@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show every statement, publishable or withheld, for the chosen months and model."""
    selection = chosen(request, at=timezone.now())
    facts: dict[str, Any] = {"selection": selection, "form": selection.form}
    if selection.is_good:
        found = circularity(selection.span, selection.scope)
        facts["found"] = found
        facts["lines"] = [
            {
                "title": TITLES[line.key],
                "line": line,
                "claim": line.claim,
                "words": claims_sheet.words(line.claim) if line.claim else {},
            }
            for line in claims_sheet.sheet(found)
        ]
        # What the public sees is of closed months of the whole workshop, whatever was chosen here.
        facts["public"] = public_claims()
        facts["action"] = ActionForm()
        facts["has_word_list"] = claims_sheet.has_word_list()
    return render(
        request, "returns/owner/claims.html", facts, status=200 if selection.is_good else 400
    )


@allow(OWNER)
@require_POST
def publish(request: StaffRequest) -> HttpResponse:
    """Open the public page."""
    return _turned(request, publishing.open_claims, gettext("The public page is open."))


@allow(OWNER)
@require_POST
def withdraw(request: StaffRequest) -> HttpResponse:
    """Shut the public page."""
    return _turned(request, publishing.shut_claims, gettext("The public page is shut."))


def _turned(request: StaffRequest, rule: Callable[..., None], given: str) -> HttpResponse:
    form = ActionForm(request.POST)
    if form.is_valid():
        form.attempt(rule, at=timezone.now(), by=request.user)
    if form.errors:
        data = gettext("That could not be done. Open the claims sheet and try again.")
        messages.error(request, data)
    else:
        messages.success(request, given)
    return redirect("claims")
