"""Today at the bench: what waits at each step, the oldest promise first."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory.pages.access import BENCH, OWNER, allow
from returns.pages.bench import wording
from returns.queries import bench

PAGE_LENGTH_MAX = 9

LABELS: dict[str, str | Promise] = {
    "parcels": _("Parcels to open"),
    "look": _("To look over"),
    "held": _("On hold"),
    "mend": _("To mend"),
    "mending": _("Being mended"),
    "post": _("Mended, to post"),
    "strip": _("To strip"),
    "return": _("To post back as it is"),
    "boxed": _("In a regrind box"),
    "kits": _("Kits to post"),
    "runs": _("Grind runs open"),
    "duties": _("Letters and reports that failed"),
}


@require_safe
@allow(BENCH, OWNER)
def today(request: HttpRequest) -> HttpResponse:
    queue = bench.today(step=request.GET.get("step", ""), page=_page(request))
    day = timezone.localdate(timezone=timezone.get_default_timezone())
    facts = {
        "queue": queue,
        "steps": [(step, LABELS[step], queue.counts[step]) for step in bench.STEPS],
        "chosen": LABELS.get(queue.step, _("All frames that wait")),
        "rows": [_row(queue, row) for row in queue.page],
        "day": day,
    }
    return render(request, "returns/bench/today.html", facts)


def _page(request: HttpRequest) -> int:
    typed = request.GET.get("page", "1")
    fits = typed.isascii() and typed.isdigit() and len(typed) <= PAGE_LENGTH_MAX
    return int(typed) if fits else 1


def _row(queue: bench.Queue, row: object) -> dict[str, object]:
    """A row with the words that the page shows beside it."""
    state = str(getattr(row, "state", ""))
    grading = queue.why.get(getattr(row, "pk", 0)) if queue.why else None
    why = wording.why_held(grading) if grading is not None else ""
    return {"it": row, "state": wording.STATES.get(state, state), "why": why}
