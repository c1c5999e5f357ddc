"""Asking for the link again by reference and email. The answer never tells whether they match."""

from __future__ import annotations

import hmac

from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_http_methods

from inventory.errors import BadInput
from returns.filing.pages.forms import FindForm
from returns.furniture import limits
from returns.letters import rules as letters
from returns.models import Request
from returns.story.pages.personal import personal
from returns.story.sums import codes

TOO_MANY = 429


@require_http_methods(["GET", "HEAD", "POST"])
@personal
def find(request: HttpRequest) -> HttpResponse:
    """Same page, same words, same work, whatever was typed."""
    form = FindForm(request.POST or None)
    if not form.is_valid():
        return render(request, "returns/customer/find.html", {"form": form})
    reference = _plain(form.cleaned_data["reference"])
    # Counted before the look-up, for a reference that exists and for one that does not.
    if not limits.may_find(request, reference):
        error = BadInput(_("Too many tries. Wait an hour and try again."))
        return render(request, "hingeback/refused.html", {"error": error}, status=TOO_MANY)
    _look_up(reference, form.cleaned_data["email"])
    return render(request, "returns/customer/find.html", {"asked": True})


def _plain(typed: str) -> str:
    try:
        return codes.normalise(typed, prefix="Q")
    except codes.BadCode:
        # What is no code at all takes the same way as a wrong one, and finds nothing.
        return ""


def _look_up(reference: str, email: str) -> None:
    """One look-up, one comparison and one message each time; one for nobody is settled unsent."""
    with transaction.atomic():
        found = Request.objects.select_related("person").filter(reference=reference).first()
        known = found.person.email if found and found.person else ""
        # Compared also where nothing was found, and letter by letter to the end: the time of the
        # answer must not tell which references exist.
        alike = hmac.compare_digest(known.casefold().encode(), email.casefold().encode())
        match = found if alike and known else None
        letters.enqueue_link(request=match, at=timezone.now())
