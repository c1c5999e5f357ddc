"""The circularity page and the downloads of its tables."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from inventory.pages.access import OWNER, allow
from inventory.templatetags.hingeback import mass_kg
from returns import charts
from returns.pages.owner import shown, tables
from returns.pages.owner.selection import Selection, chosen
from returns.pages.owner.tables import Table
from returns.queries.circularity import Circularity, circularity
from returns.queries.indicators import Indicators, indicators
from returns.queries.reasons import Reasons, reasons
from returns.queries.turnaround import MonthRow, Turnaround, by_month, turnaround


@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """What came back and what became of it, for the chosen months and model."""
    selection = chosen(request, at=timezone.now())
    facts: dict[str, Any] = {"selection": selection, "form": selection.form, "wide": True}
    if selection.is_good:
        facts |= _everything(selection)
    status = 200 if selection.is_good else 400
    return render(request, "returns/owner/circularity.html", facts, status=status)


@allow(OWNER)
def download(request: HttpRequest, name: str) -> HttpResponse:
    """One table of the page as CSV."""
    make = _DOWNLOADS.get(name)
    if make is None:
        raise Http404
    selection = chosen(request, at=timezone.now())
    if not selection.is_good:
        facts = {"selection": selection, "form": selection.form, "wide": True}
        return render(request, "returns/owner/circularity.html", facts, status=400)
    first, last = selection.span.labels
    answer = HttpResponse(make(selection).csv(), content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = f'attachment; filename="{name}-{first}-{last}.csv"'
    return answer


def _circularity(selection: Selection) -> Circularity:
    return circularity(selection.span, selection.scope)


def _flow(selection: Selection, side: str) -> Table:
    found = indicators(selection.span, selection.scope, _circularity(selection))
    return tables.flow(side, "", getattr(found, side))


_DOWNLOADS: dict[str, Callable[[Selection], Table]] = {
    "figures": lambda s: tables.figures(_circularity(s)),
    "returns": lambda s: tables.returns(by_month(s.span, s.scope)),
    "losses": lambda s: tables.losses(_circularity(s)),
    "content": lambda s: tables.content(_circularity(s)),
    "reasons": lambda s: tables.reasons(reasons(s.span, s.scope)),
    "turnaround": lambda s: tables.turnaround(turnaround(s.span, s.scope)),
    "inflow": lambda s: _flow(s, "inflow"),
    "outflow": lambda s: _flow(s, "outflow"),
}


def _everything(selection: Selection) -> dict[str, Any]:
    span, scope = selection.span, selection.scope
    found = circularity(span, scope)
    more = indicators(span, scope, found)
    days, months, why = turnaround(span, scope), by_month(span, scope), reasons(span, scope)
    return {
        "found": found,
        "shares": _shares(found, days),
        "masses": _masses(found),
        "indicators": _indicators(found, more),
        "days": days,
        "pictures": [
            _months_picture(months),
            _reasons_picture(why),
            _turnaround_picture(days),
            _losses_picture(found),
        ],
        "content": tables.content(found),
        "flows": _flows(more),
    }


def _shares(found: Circularity, days: Turnaround) -> list[shown.Shown]:
    frames = _("frames")
    return [
        shown.share(
            _("Take-back rate"),
            _("Units that came back at least once, of all sold by the end of the span."),
            found.take_back,
            of=_("sold units"),
        ),
        shown.share(
            _("Take-back in the span"),
            _("Units that came back for the first time, of those that were out there."),
            found.take_back_in_span,
            of=_("units out there"),
        ),
        shown.share(
            _("Repair share"),
            _("Frames mended and posted, of all mended, boxed, sent back or discarded."),
            found.repair_share,
            of=frames,
        ),
        shown.share(
            _("Recovery yield"),
            _("Flake out of the mass taken from boxes of returns. Boxes mix all models."),
            found.recovery_yield,
            of=_("grind runs"),
            count=found.runs,
        ),
        shown.share(
            _("Promise kept"),
            _("Stories that ended on the promised day or before."),
            days.kept,
            of=frames,
        ),
        shown.share(
            _("Closed-loop share"),
            _("Own returns in the material issued to moulding; own scrap left out."),
            found.closed_loop,
            of=_("issues"),
        ),
    ]


def _masses(found: Circularity) -> list[shown.Shown]:
    recovered = shown.Shown(
        label=_("Recovered mass"),
        meaning=_("Frame material of returns put into the regrind boxes."),
        value=mass_kg(found.recovered.mass_mg),
        spread=f"± {mass_kg(round(found.recovered.expanded_mg))} (k = 2)",
        basis=_("%(readings)s weighings; %(rest)s by subtraction")
        % {
            "readings": found.recovered.readings,
            "rest": mass_kg(found.recovered.unweighed_mg),
        },
    )
    recycled = shown.share(
        _("Recycled content"),
        _("Post-consumer material by mass of what was moulded (ISO 14021)."),
        found.recycled_content,
        of=_("issues"),
    )
    return [recovered, recycled]


def _indicators(found: Circularity, more: Indicators) -> list[shown.Shown]:
    del found
    return [
        shown.indicator(
            _("Material circularity indicator"),
            _("0.1 is a wholly linear product, 1 a closed loop. From this model's own flows."),
            more.material_circularity,
        ),
        shown.indicator(
            _("Mean number of lives"),
            _("Heat passes of the batches moulded in the span, by mass; an upper figure."),
            more.mean_lives,
        ),
    ]


def _flows(more: Indicators) -> list[dict[str, Any]]:
    return [
        {
            "table": tables.flow(name, caption, found),
            "lacking": shown.lacking(found.missing) if found.missing else "",
        }
        for name, caption, found in (
            ("inflow", _("Inflow: material issued to moulding"), more.inflow),
            ("outflow", _("Outflow: what became of returned frames"), more.outflow),
        )
    ]


def _picture(
    table: Table, heading: str, is_empty: bool, draw: Callable[[], SafeString]
) -> dict[str, Any]:
    return {"heading": heading, "table": table, "svg": None if is_empty else draw()}


def _months_picture(rows: tuple[MonthRow, ...]) -> dict[str, Any]:
    table = tables.returns(rows)
    title = charts.Title(
        _("Frames by month"),
        _("Bars for each month: frames received, mended and reground. The table has the counts."),
    )
    series = [
        charts.Series(_("Received"), [row.received for row in rows]),
        charts.Series(_("Mended"), [row.repaired for row in rows]),
        charts.Series(_("Reground"), [row.reground for row in rows]),
    ]
    nothing = not any(sum(row.values) for row in series)
    return _picture(
        table,
        _("What came back"),
        nothing,
        lambda: charts.bars(title, [row.month for row in rows], series),
    )


def _reasons_picture(found: Reasons) -> dict[str, Any]:
    title = charts.Title(
        _("Reasons for returns"),
        _("Counts of findings: components down the side, defects across the top."),
    )
    return _picture(
        tables.reasons(found),
        _("Why frames come back"),
        not found.total,
        lambda: charts.heat(
            title,
            [tables.component_name(key) for key in found.components],
            [tables.defect_name(key) for key in found.defects],
            found.counts,
        ),
    )


def _turnaround_picture(found: Turnaround) -> dict[str, Any]:
    title = charts.Title(
        _("Turnaround"), _("Frames by the days from weigh-in to the end of their story.")
    )
    series = [charts.Series(_("Frames"), [one.frames for one in found.bins])]
    return _picture(
        tables.turnaround(found),
        _("How long they stay"),
        not found.ended,
        lambda: charts.bars(title, [one.label for one in found.bins], series),
    )


def _losses_picture(found: Circularity) -> dict[str, Any]:
    title = charts.Title(
        _("Set aside or lost"), _("Mass by cause, in grams, at strip-down and at grinding.")
    )
    labels = [
        f"{tables.stage_name(loss.stage)}: {tables.cause_name(loss.cause)}" for loss in found.losses
    ]
    return _picture(
        tables.losses(found),
        _("What is set aside or lost"),
        not found.losses,
        lambda: charts.lying_bars(
            title, labels, [loss.mass_mg / 1000 for loss in found.losses], "g"
        ),
    )
