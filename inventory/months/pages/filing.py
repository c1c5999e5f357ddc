"""Fetching a month's files, and watching the PDF being made."""

from __future__ import annotations

import uuid
from typing import Any
from uuid import UUID

from django.http import FileResponse, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import ReportFile
from inventory.months.queries import months, recovered
from inventory.months.queries.recovered import Report
from inventory.months.reports import naming, pdf_files
from inventory.months.reports.files import CSVW_SUFFIX, FORMATS
from inventory.staff.queries import ACCOUNTANT, OWNER

AT_ONCE = ("csv", "postings", "xlsx", "json", "evidence")


@require_GET
@allow(ACCOUNTANT, OWNER)
def data_file(request: HttpRequest, label: str, name: str) -> HttpResponse:
    """Send a data file by its own name; a CSV's description has its name and an ending."""
    del request
    months.known(label, timezone.now())
    report = recovered.of_month(label)
    # Compared with names that are made here, never used as a path: no name in an address reaches
    # the disk.
    for key in AT_ONCE:
        own = naming.stem(report) + FORMATS[key].suffix
        describe = FORMATS[key].describe
        if name == own:
            return _data(report, key, own)
        if describe is not None and name == own + CSVW_SUFFIX:
            return _attached(describe(own, label), name, "application/csvm+json")
    raise NotFound(_("There is no such file for this month."))


@require_http_methods(["GET", "POST"])
@allow(ACCOUNTANT, OWNER)
def pdf(request: StaffRequest, label: str) -> HttpResponse:
    """Show how far the PDF is; a POST asks for a new one. htmx fetches only the status."""
    months.known(label, timezone.now())
    if request.method == "POST":
        form = ActionForm(request.POST)
        if form.is_valid():
            form.attempt(pdf_files.ask, label=label, at=timezone.now(), by=request.user)
        return redirect("month-pdf", label)
    partial = bool(getattr(request, "htmx", False))
    page = "inventory/accounts/pdf_status.html" if partial else "inventory/accounts/pdf.html"
    return render(request, page, {"label": label, **_newest_pdf(label)})


@require_GET
@allow(ACCOUNTANT, OWNER)
def pdf_file(request: HttpRequest, label: str, key: UUID) -> HttpResponseBase:
    """Send the finished file. Raises NotFound while it is not ready, or when it is gone."""
    del request
    asked = ReportFile.objects.filter(key=key, month=label).first()
    if asked is None or not pdf_files.is_there(asked):
        raise NotFound(_("This file is not there. Ask for the PDF again."))
    return FileResponse(
        pdf_files.opened(asked),
        as_attachment=True,
        filename=asked.file_name,
        content_type="application/pdf",
    )


def newest(label: str) -> ReportFile | None:
    """Return the report file that was asked for last."""
    return ReportFile.objects.filter(month=label).order_by("-asked_at", "-pk").first()


def files(report: Report) -> dict[str, Any]:
    """Return what a page needs to offer the month's files."""
    stem = naming.stem(report)
    return {
        "files": [
            (_("Figures as CSV"), f"{stem}.csv"),
            (_("What the figures' columns mean (CSVW)"), f"{stem}.csv{CSVW_SUFFIX}"),
            (_("All postings as CSV"), f"{stem}-postings.csv"),
            (_("What the postings' columns mean (CSVW)"), f"{stem}-postings.csv{CSVW_SUFFIX}"),
            (_("Workbook"), f"{stem}.xlsx"),
            (_("Everything as JSON"), f"{stem}.json"),
            (_("Evidence pack, with the program that checks it"), f"{stem}-evidence.zip"),
        ],
        **_newest_pdf(report.label),
    }


def _newest_pdf(label: str) -> dict[str, Any]:
    asked = newest(label)
    return {
        "pdf_file": asked,
        "pdf_stalled": asked is not None and pdf_files.has_stalled(asked, timezone.now()),
        "pdf_key": uuid.uuid4(),
    }


def _data(report: Report, key: str, name: str) -> HttpResponse:
    chosen = FORMATS[key]
    response = _attached(chosen.make(report), name, chosen.media_type)
    if chosen.describe is not None:
        # W3C, Model for Tabular Data (2015), 5.2: where the description of a table is found.
        response.headers["Link"] = (
            f'<{name}{CSVW_SUFFIX}>; rel="describedby"; type="application/csvm+json"'
        )
    return response


def _attached(content: bytes, name: str, media_type: str) -> HttpResponse:
    response = HttpResponse(content, content_type=media_type)
    response.headers["Content-Disposition"] = f'attachment; filename="{name}"'
    return response
