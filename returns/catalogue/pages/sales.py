"""The sales list: tried first, imported when every row is good."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Count, Max, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.decorators.http import require_GET, require_http_methods

from inventory import clock
from inventory.errors import BadInput
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.staff.queries import OWNER
from returns.catalogue.pages import lists
from returns.catalogue.rules import csvlists, sold
from returns.models import ProductionBatch, SoldUnits

SHOWN_MAX = 500


class SalesFileForm(forms.Form):
    file = lists.file_field(
        gettext_lazy("Sales list (CSV)"),
        gettext_lazy(
            "UTF-8; comma, semicolon or tab; the first line names batch, month and pieces."
        ),
    )


class SalesImportForm(ActionForm):
    rows = lists.tried_field(csvlists.BYTES_MAX)
    replace = forms.BooleanField(
        label=gettext_lazy("Yes, change the months that are known already"), required=False
    )


@allow(OWNER)
@require_http_methods(["GET", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """Show what is known so far; an uploaded list is tried and nothing is written."""
    form = SalesFileForm(request.POST or None, request.FILES or None)
    if request.method == "POST" and form.is_valid():
        try:
            rows = sold.read(lists.content(form.cleaned_data["file"]))
        except BadInput as error:
            form.add_error("file", error.message)
        else:
            return _tried(request, rows, SalesImportForm(initial={"rows": _as_text(rows)}))
    status = 400 if form.errors else 200
    return render(request, "returns/owner/sold.html", {"form": form, **_known()}, status=status)


@allow(OWNER)
@require_http_methods(["GET", "POST"])
def bring_in(request: StaffRequest) -> HttpResponse:
    """Import the list that was tried."""
    if request.method != "POST":
        return redirect("sold")
    form = SalesImportForm(request.POST)
    if not form.is_valid():
        messages.error(request, _("The list got lost on the way. Choose the file again."))
        return redirect("sold")
    try:
        # Read and checked again: what comes back from a browser is no longer what was tried.
        rows = sold.read(form.cleaned_data["rows"].encode())
    except BadInput as error:
        messages.error(request, error.message)
        return redirect("sold")
    replace = "confirmed" if form.cleaned_data["replace"] else ""
    done = form.attempt(
        sold.bring_in, rows=rows, replace=replace, at=timezone.now(), by=request.user
    )
    if done is None:
        return _tried(request, rows, form)
    messages.success(
        request,
        _("The list is imported. Sold units before: %(before)s, now: %(after)s.")
        % {"before": done.before, "after": done.after},
    )
    return redirect("sold")


@allow(OWNER)
@require_GET
def template(request: HttpRequest) -> HttpResponse:
    """Send a list with the right header and a line to follow, an example without a batch."""
    del request
    batch = ProductionBatch.objects.first()
    row = (
        (batch.code, f"{batch.made_on:%Y-%m}", 0)
        if batch
        else ("EXAMPLE-1", f"{clock.day_of(timezone.now()):%Y-%m}", 12)
    )
    return lists.template("sold-units.csv", [sold.COLUMNS, row])


def _tried(request: HttpRequest, rows: Sequence[sold.Row], form: SalesImportForm) -> HttpResponse:
    verdict = sold.check(rows, at=timezone.now())
    count = len(verdict.rejected)
    facts = {
        "form": form,
        "verdict": verdict,
        "rejected": verdict.rejected[:SHOWN_MAX],
        "replacing": verdict.replacing[:SHOWN_MAX],
        "refused": ngettext(
            "%(count)s row will not do. Mend the list and try it again; nothing was imported.",
            "%(count)s rows will not do. Mend the list and try it again; nothing was imported.",
            count,
        )
        % {"count": count},
    }
    status = 400 if verdict.rejected or form.errors else 200
    return render(request, "returns/owner/sold_tried.html", facts, status=status)


def _as_text(rows: Sequence[sold.Row]) -> str:
    return lists.text([sold.COLUMNS, *((row.batch, row.month, row.pieces) for row in rows)])


def _known() -> dict[str, Any]:
    totals = SoldUnits.objects.aggregate(
        pieces=Sum("pieces"), rows=Count("pk"), last=Max("month"), at=Max("imported_at")
    )
    batches = (
        ProductionBatch.objects.select_related("colourway__model", "colourway__colour")
        .annotate(sold_pieces=Sum("sold__pieces"), last_month=Max("sold__month"))
        .order_by("-made_on", "code")[:SHOWN_MAX]
    )
    return {"totals": totals, "batches": batches, "columns": sold.COLUMNS}
