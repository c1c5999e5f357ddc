"""Yield and causes as the bench and the owner see them: each picture with its table."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from inventory.furniture.numbers import fixed
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.models import SpoilCause, Step
from inventory.staff.queries import BENCH, OWNER
from returns import charts
from returns.spoiling import queries
from returns.spoiling.queries import Overview
from returns.spoiling.sums import BATCHES_MIN

_STEPS = dict(Step.choices)


@require_safe
@allow(BENCH, OWNER)
def page(request: StaffRequest) -> HttpResponse:
    """Show the causes in order, the yield of each batch by step, and the chart of proportions."""
    found = queries.overview()
    names = SpoilCause.names()
    causes = [
        {
            "name": f"{_STEPS[cause.key[0]]} · {names.get(cause.key[1], cause.key[1])}",
            "pieces": cause.pieces,
            "mass_mg": found.grams_mg[cause.key],
            "share": percent(cause.share),
            "together": percent(cause.together),
        }
        for cause in found.causes
    ]
    facts = {
        "causes": causes,
        "steps": _STEPS.values(),
        "batches": [_row(found, index) for index in range(len(found.batches))],
        "chart": _chart(found),
        "mean": percent(found.chart.mean) if found.chart else "",
        "need": BATCHES_MIN,
        "wide": True,
    }
    return render(request, "returns/workroom/spoiled.html", facts)


def percent(share: float) -> str:
    """Return a share as a percentage with one decimal."""
    return f"{fixed(100 * share, 1)} %"


def _row(found: Overview, index: int) -> dict[str, Any]:
    one = found.batches[index]
    point = found.chart.each[index] if found.chart else None
    shares = [percent(step.share) if step.share is not None else "–" for step in one.steps]
    return {
        "it": one,
        "shares": list(zip(_STEPS.values(), shares, strict=True)),
        "rolled": percent(one.rolled),
        "spoiled": percent(one.spoiled / one.begun),
        "limits": f"{percent(point.low)} – {percent(point.high)}" if point else "–",
        "point": point,
    }


def _chart(found: Overview) -> SafeString | None:
    if found.chart is None:
        return None
    title = charts.Title(
        _("Share spoiled, batch by batch"),
        _("Of the pairs begun. The lines are for the largest batch; the table has each one's own."),
    )
    # The narrowest limits, so that no dot is drawn inside lines that it lies outside of.
    largest = max(found.chart.each, key=lambda one: one.size)
    drawn = charts.Runs(
        runs=[
            charts.Run(one.batch.code, point.share, point.is_outside)
            for one, point in zip(found.batches, found.chart.each, strict=True)
        ],
        mean=found.chart.mean,
        low=largest.low,
        high=largest.high,
        most=1.0,
        least=0.0,
        names=(
            _("mean %(share)s") % {"share": percent(found.chart.mean)},
            _("upper %(share)s") % {"share": percent(largest.high)},
            _("lower %(share)s") % {"share": percent(largest.low)},
        ),
        starts=lambda share: _("The axis starts at %(share)s, not at zero.") % {"share": share},
    )
    return charts.for_screens(partial(charts.runs, title, drawn, percent))
