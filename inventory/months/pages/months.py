"""The accountant's months: the list, the way to closing, the report, and a figure's evidence."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from inventory.errors import NotFound
from inventory.furniture.pages import frame
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.months import rules as closing
from inventory.months.pages import checklist, filing
from inventory.months.pages.forms import AskForm, CloseForm
from inventory.months.queries import months, recovered, warnings
from inventory.months.queries import replays as month_replays
from inventory.months.queries.recovered import comparison, lines
from inventory.months.queries.replays import MonthReplay
from inventory.months.reports import anchor, chart, document, headings, tables
from inventory.staff.queries import ACCOUNTANT, OWNER, roles_of
from inventory.weighing import pages as agreement

PER_PAGE = 24


@require_GET
@allow(ACCOUNTANT, OWNER)
def listing(request: HttpRequest) -> HttpResponse:
    """List every month with its state, newest first."""
    page = Paginator(months.listed(timezone.now()), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "inventory/accounts/months.html", {"page": page})


@require_GET
@allow(ACCOUNTANT, OWNER)
def month(request: StaffRequest, label: str) -> HttpResponse:
    """Show what leads to closing, the figures in short, and the difference from last month."""
    now = timezone.now()
    known = months.known(label, now)
    earlier = str(known.previous())
    # Together: only masses of one replay share their readings, and only then does what two months
    # have in common cancel.
    replays = month_replays.replayed([label, earlier])
    report, before = (recovered.of_month(name, replays[name]) for name in (label, earlier))
    closed = months.closed(label)
    checks = (
        []
        if closed
        else checklist.checks(months.reasons(label, now), report, roles_of(request.user), label)
    )
    facts = (
        _facts(label)
        | filing.files(report)
        | {
            "report": report,
            "checks": checks,
            "ready": not closed and all(check.done for check in checks),
            "comparison": _compared(report, before, replays),
            "before": earlier,
            "trust": document.trust(report),
            "cautions": document.cautions(report),
            "closing_known": report.total.known_of("closing"),
            "frames": document.frames(report),
            "agreement": agreement.shown(label, frame.roles(request)),
            "corrections": document.corrected(report),
            "changed": document.changed(label),
            "method_url": frame.address("method"),
        }
    )
    return render(request, "inventory/accounts/month.html", facts)


@require_http_methods(["GET", "POST"])
@allow(ACCOUNTANT, OWNER)
def close(request: StaffRequest, label: str) -> HttpResponse:
    """Confirm and close. A refusal is shown on the form with all its reasons."""
    now = timezone.now()
    months.known(label, now)
    form = CloseForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        data = {name: form.cleaned_data[name] for name in ("acknowledged", "seen")}
        closed = form.attempt(closing.close, label=label, at=now, by=request.user, **data)
        if closed is not None:
            messages.success(request, _("%(month)s is closed.") % {"month": label})
            return redirect("month", label)
    facts = _facts(label) | {"form": form, "reasons": _reasons(label)}
    if not facts["closed"] and not facts["reasons"]:
        facts |= _read_first(label, form)
    return render(request, "inventory/accounts/close.html", facts)


def _read_first(label: str, form: CloseForm) -> dict[str, Any]:
    """Return the figures that are about to be frozen, and what speaks against them."""
    made = recovered.of_month(label)
    warned = warnings.of_report(made)
    # The digest of what this very page shows, also after a refusal.
    form.fields["seen"].initial = recovered.digest(made)
    if form.is_bound:
        sent = form.data.copy()  # type: ignore[attr-defined]
        sent["seen"] = recovered.digest(made)
        form.data = sent
    if not warned:
        del form.fields["acknowledged"]
    return {
        "report": made,
        "warnings": warned,
        "trust": document.trust(made),
        "closing_known": made.total.known_of("closing"),
        "frames": document.frames(made),
        "corrections": document.corrected(made),
        "tables": [tables.steps(made), tables.journal(made)],
    }


@require_POST
@allow(ACCOUNTANT, OWNER)
def ask(request: StaffRequest, label: str) -> HttpResponse:
    """Ask the bench to settle what keeps the month open."""
    months.known(label, timezone.now())
    form = AskForm(request.POST)
    if form.is_valid():
        subject = form.cleaned_data["subject"]
        asked = form.attempt(
            closing.ask_bench, label=label, subject=subject, at=timezone.now(), by=request.user
        )
        if asked is not None:
            words = _("The bench is asked for %(code)s: its desk says so until it is settled.")
            messages.success(request, words % {"code": subject})
        elif form.refusal is not None:
            messages.error(request, form.refusal.message)
    return redirect("month", label)


@require_GET
@allow(ACCOUNTANT, OWNER)
def report(request: HttpRequest, label: str) -> HttpResponse:
    """Show the whole report, every figure linked to its postings."""
    months.known(label, timezone.now())
    made = recovered.of_month(label)
    facts = (
        _facts(label)
        | filing.files(made)
        | {
            "report": made,
            "tables": tables.every(made),
            "chart": chart.svg(made),
            "narrow_chart": chart.svg(made, shape=chart.NARROW),
            "trust": document.trust(made),
            "cautions": document.cautions(made),
            "frames": document.frames(made),
            "digest": recovered.digest(made),
            **_anchored(label),
            "corrections": document.corrected(made),
            "changed": document.changed(label),
            "linked": True,
            "wide": True,
        }
    )
    return render(request, "inventory/accounts/report.html", facts)


@require_GET
@allow(ACCOUNTANT, OWNER)
def figure(request: HttpRequest, label: str, row: str, column: str) -> HttpResponse:
    """Show the postings behind one figure."""
    months.known(label, timezone.now())
    made = recovered.of_month(label)
    cell = recovered.cell(made, row, column)
    if cell is None:
        raise NotFound(_("The report has no such figure."))
    found = lines.of_month(made, cell.movements)
    page = Paginator(found, 50).get_page(request.GET.get("page"))
    facts = _facts(label) | {
        "row_words": _row_words(made, row),
        "heading": _heading(row, column),
        "cell": cell,
        "known": made.known_of(row, column),
        "in_pieces": row == "frames"
        or column in headings.IN_PIECES
        or any(part.place == row for part in made.parts),
        "page": page,
        "rows": [
            (line, headings.KINDS.get(line.kind, line.kind), _counts_in(line, row)) for line in page
        ],
        "wide": True,
    }
    return render(request, "inventory/accounts/figure.html", facts)


def _heading(row: str, column: str) -> Any:
    words = headings.FRAMES if row == "frames" else headings.COLUMNS | headings.BEYOND
    return words.get(column, column)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line of the comparison, with the class and column of its causes in words."""

    it: comparison.Comparison
    causes: list[tuple[comparison.Cause, str, Any]]


def _compared(
    report: recovered.Report, before: recovered.Report, replays: Mapping[str, MonthReplay]
) -> list[_Line]:
    return [
        _Line(
            one,
            [
                (cause, tables.name(report, cause.material), headings.COLUMNS.get(cause.column, ""))
                for cause in one.causes
            ],
        )
        for one in comparison.compare(report, before, replays)
    ]


def _row_words(made: recovered.Report, row: str) -> str:
    """Return a row of the report in words: a class with its box or lot, a shelf, a part."""
    for line in made.material:
        if line.place == row:
            return f"{tables.box_or_lot(line)}, {tables.name(made, line.material)}"
    for shelf in made.shelves:
        if shelf.place == row:
            return str(headings.PLACES.get(shelf.kind, shelf.place)).capitalize()
    named = {part.place: part.name for part in made.parts}
    named |= {one.key: tables.beyond_name(made, one) for one in made.beyond}
    if row in named:
        return named[row]
    return str(headings.TOTAL) if row == "total" else _("Frames")


def _counts_in(line: lines.PostingLine, row: str) -> list[str]:
    """Return the columns that a posting counts in: at its row's own place, else at either end."""
    ends = [(line.source, line.source_column), (line.target, line.target_column)]
    own = [column for place, column in ends if place == row] or [column for _, column in ends]
    return [str(headings.COLUMNS.get(column, column)) for column in own if column]


def _facts(label: str) -> dict[str, Any]:
    return {
        "label": label,
        "first_day": months.parsed(label).first_day,
        "closed": months.closed(label),
        "standing": months.standing(label, timezone.now()),
        "month_url": reverse("month", args=[label]),
    }


def _anchored(label: str) -> dict[str, Any]:
    closed = months.closed(label)
    if closed is None:
        return {}
    return {"anchor": anchor.text(closed), "anchor_picture": anchor.picture(closed)}


def _reasons(label: str) -> list[months.Reason]:
    return [] if months.closed(label) else months.reasons(label, timezone.now())
