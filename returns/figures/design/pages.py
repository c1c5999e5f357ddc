"""Feedback to the design: batches that break sooner, the drawing marked, and what it costs."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed, money
from inventory.furniture.pages.access import allow
from inventory.furniture.wording import mass
from inventory.models import Workshop
from inventory.months.sums.calendar_month import month_of
from inventory.staff.queries import OWNER
from returns.figures.circularity.pages import tables
from returns.figures.circularity.pages.tables import Cell, Table, count, words
from returns.figures.design import queries
from returns.figures.design.queries import Compared, OfModel
from returns.figures.span.queries import zone


@require_safe
@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show each model's batches against each other, up to the last complete month."""
    as_of = month_of(timezone.now(), zone()).previous()
    models = [_shown(found) for found in queries.feedback(as_of)]
    facts: dict[str, Any] = {"models": models, "as_of": str(as_of), "wide": True}
    return render(request, "returns/owner/design.html", facts)


def _shown(found: OfModel) -> dict[str, Any]:
    marked = [row for row in found.rows if row.is_marked and row.excess > 0]
    return {
        "model": found.model,
        "table": _table(found),
        "findings": [_sentence(row) for row in marked[:3]],
        "places": _places(found),
    }


def _places(found: OfModel) -> list[dict[str, Any]]:
    """Components by how often they fail first, with the share of what was sold."""
    ordered = sorted(found.by_component.items(), key=lambda item: (-item[1], item[0]))
    most = max(found.by_component.values(), default=0)
    return [
        {
            "name": tables.component_name(component),
            "count": failed,
            "share": fixed(100 * failed / found.frames, 1),
            "level": -(-5 * failed // most),
        }
        for component, failed in ordered
        if component and failed
    ]


def _sentence(row: Compared) -> str:
    facts = {
        "batch": row.batch,
        "where": _where(row),
        "ratio": fixed(row.ratio or 0.0, 1),
        "low": fixed(row.low or 0.0, 1),
        "high": fixed(row.high or 0.0, 1),
        "more": fixed(row.excess, 0),
        "mass": mass(round(row.excess_mg)),
        "money": f"{money(round(row.excess_minor))} {Workshop.the().currency}",
    }
    return (
        _(
            "Batch %(batch)s breaks %(ratio)s times as often as the others of its model "
            "(%(low)s to %(high)s): %(where)s. Made like the others it would have saved %(more)s "
            "returns, %(mass)s of material ground and %(money)s."
        )
        % facts
    )


def _where(row: Compared) -> str:
    return tables.component_name(row.component) if row.component else _("all components together")


def _table(found: OfModel) -> Table:
    return Table(
        "design",
        _("Batches against the others of their model, at the same age"),
        ("batch", "component", "sold", "failed", "expected", "ratio", "limits", "p"),
        (
            _("Batch"),
            _("Component"),
            _("Sold"),
            _("First failures"),
            _("Like the others"),
            _("Hazard ratio"),
            _("Limits, 95 % for all together"),
            _("p, corrected"),
        ),
        tuple(_row(row) for row in found.rows),
    )


def _row(row: Compared) -> tuple[Cell, ...]:
    nothing = Cell(None, "–")
    known = row.ratio is not None and row.low is not None and row.high is not None
    return (
        words(row.batch),
        words(row.component, _where(row)),
        count(row.sold),
        count(row.failed),
        Cell(row.expected, fixed(row.expected, 1)),
        Cell(row.ratio, fixed(row.ratio or 0.0, 2)) if known else nothing,
        words(f"{fixed(row.low or 0.0, 2)} – {fixed(row.high or 0.0, 2)}") if known else nothing,
        nothing if row.p_value is None else Cell(row.p_value, fixed(row.p_value, 3)),
    )
