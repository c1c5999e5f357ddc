"""Movements: the list, and one with its postings, readings and reversal."""

from __future__ import annotations

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from inventory import reversing
from inventory.models import Movement, Posting
from inventory.pages.access import ACCOUNTANT, OWNER, StaffRequest, allow
from inventory.pages.accounts.forms import FilterForm, ReverseForm
from inventory.queries import months, movements, traced
from inventory.reports import headings
from inventory.sums.traced import Known

PER_PAGE = 50


@require_GET
@allow(ACCOUNTANT, OWNER)
def listing(request: HttpRequest) -> HttpResponse:
    """Movements by month, kind and subject, newest first. A bad filter finds nothing."""
    form = FilterForm(request.GET or None)
    wanted = form.cleaned_data if form.is_valid() else {}
    rows = movements.found(**wanted)
    if form.is_bound and not form.is_valid():
        rows = rows.none()
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    query = request.GET.copy()
    query.pop("page", None)
    facts = {
        "form": form,
        "page": page,
        "query": query.urlencode(),
        "rows": [(row, headings.KINDS.get(row.kind, row.kind)) for row in page],
        "wide": True,
    }
    return render(request, "inventory/accounts/movements.html", facts)


@require_http_methods(["GET", "POST"])
@allow(ACCOUNTANT, OWNER)
def movement(request: StaffRequest, number: int) -> HttpResponse:
    """One movement; a POST reverses it."""
    found = movements.numbered(number)
    form = ReverseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        undone = form.attempt(
            reversing.reverse,
            movement=found,
            reason=form.cleaned_data["reason"],
            at=timezone.now(),
            by=request.user,
        )
        if undone is not None:
            text = _("Movement %(number)s is reversed by %(by)s.")
            messages.success(request, text % {"number": number, "by": undone.number})
            return redirect("movement", undone.number)
        # A refused reversal leaves its never-written twin on the object.
        found = movements.numbered(number)
    facts = {
        "movement": found,
        "postings": _postings(found),
        "undone_by": getattr(found, "reversed_by", None),
        "kind": headings.KINDS.get(found.kind, found.kind),
        "closed": months.closed(found.month),
        "form": form,
        "stands_alone": found.kind in reversing.ALONE,
        "wide": True,
    }
    return render(request, "inventory/accounts/movement.html", facts)


def _postings(found: Movement) -> list[tuple[Posting, Known | None]]:
    """Each posting with how well its mass is known, where its month states that."""
    moved = traced.of_month(found.month).moved if traced.is_stated(found.month) else {}
    masses = ((one, moved.get((found.number, one.line))) for one in found.postings.all())
    return [(one, None if mass is None else mass.known()) for one, mass in masses]
