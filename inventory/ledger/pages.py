"""Movements: the list, and one with its postings, readings and reversal."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from inventory.furniture.pages.access import StaffRequest, allow
from inventory.ledger.queries import movements
from inventory.ledger.rules import reversing
from inventory.models import Movement, Posting
from inventory.months.pages.forms import FilterForm, ReverseForm
from inventory.months.queries import months, replays
from inventory.months.reports import headings
from inventory.staff.queries import ACCOUNTANT, OWNER
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings

PER_PAGE = 50

_Line = tuple[Posting, MassUncertainty | None]


@require_GET
@allow(ACCOUNTANT, OWNER)
def listing(request: HttpRequest) -> HttpResponse:
    """Movements by month, kind and subject, newest first. A bad filter finds nothing."""
    form = FilterForm(request.GET or None)
    wanted = form.cleaned_data if form.is_valid() else {}
    rows = movements.found(**wanted)
    if form.is_bound and not form.is_valid():
        # Nothing rather than everything: a list that ignores a mistyped filter is read as its
        # answer.
        rows = rows.none()
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    query = request.GET.copy()
    query.pop("page", None)
    facts = {
        "form": form,
        "page": page,
        "query": query.urlencode(),
        "rows": _rows(list(page)),
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
        "postings": _postings(found, replays.moved([found.month])),
        "undone_by": getattr(found, "reversed_by", None),
        "kind": headings.KINDS.get(found.kind, found.kind),
        "closed": months.closed(found.month),
        "form": form,
        "stands_alone": found.kind in reversing.ALONE,
        "wide": True,
    }
    return render(request, "inventory/accounts/movement.html", facts)


def _rows(found: Sequence[Movement]) -> list[tuple[Movement, Any, list[_Line]]]:
    """Return each movement, its kind in words and its postings; each month is replayed once."""
    moved = replays.moved(row.month for row in found)
    return [(row, headings.KINDS.get(row.kind, row.kind), _postings(row, moved)) for row in found]


def _postings(found: Movement, moved: Mapping[tuple[int, int], MassWithReadings]) -> list[_Line]:
    """Return each posting with the uncertainty of its mass, where its month states that."""
    masses = ((one, moved.get((found.number, one.line))) for one in found.postings.all())
    return [(one, None if mass is None else mass.known()) for one, mass in masses]
