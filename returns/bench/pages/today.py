"""Today at the bench: what waits at each step, the oldest promise first."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any
from urllib.parse import urlencode

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from inventory import clock
from inventory.furniture.pages.access import allow
from inventory.models import Colour
from inventory.staff.queries import BENCH, OWNER
from returns.asking import queries as asking
from returns.asking import sums as waits
from returns.bench.queries import in_hand
from returns.bench.queries import queue as bench
from returns.grading.pages import wording
from returns.models import FrameModel, Grading

PAGE_LENGTH_MAX = 9
TYPED_LENGTH_MAX = 60
NARROW_FROM = 12

LABELS: dict[str, str | Promise] = {
    "underway": _("In the post to us"),
    "parcels": _("Parcels to open"),
    "asked": _("Asked, waiting for an answer"),
    "look": _("To look over"),
    "held": _("On hold"),
    "mend": _("To mend"),
    "mending": _("Being mended"),
    "at-mend": _("To mend and being mended"),
    "post": _("Mended, to post"),
    "strip": _("To strip"),
    "return": _("To post back as it is"),
    "boxed": _("In a regrind box"),
    "kits": _("Kits to post"),
    "runs": _("Grind runs open"),
    "messages": _("Letters and reports that failed"),
}


@require_safe
@allow(BENCH, OWNER)
def today(request: HttpRequest) -> HttpResponse:
    only = _only(request)
    queue = bench.today(step=request.GET.get("step", ""), page=_page(request), only=only)
    day = clock.day_of(timezone.now())
    facts = {
        "queue": queue,
        "steps": [(step, LABELS[step], queue.counts[step]) for step in bench.STEPS],
        "waiting": queue.waiting,
        "chosen": LABELS.get(queue.step, _("All frames that wait")),
        "rows": _rows(queue),
        "only": only,
        "kept": urlencode({"step": queue.step} | asdict(only)),
        "day": day,
    }
    if _may_narrow(queue, only):
        facts |= _choices()
    return render(request, "returns/bench/today.html", facts)


def _page(request: HttpRequest) -> int:
    typed = request.GET.get("page", "1")
    # The length is bounded before `int`, which refuses very long numbers with an error of its own.
    fits = typed.isascii() and typed.isdigit() and len(typed) <= PAGE_LENGTH_MAX
    return int(typed) if fits else 1


def _only(request: HttpRequest) -> bench.Only:
    data = {
        # PostgreSQL refuses a NUL in a text; SQLite does not.
        name: request.GET.get(name, "").replace("\0", "").strip()[:TYPED_LENGTH_MAX]
        for name in ("model", "colour", "piece")
    }
    return bench.Only(**data)


def _may_narrow(queue: bench.Queue, only: bench.Only) -> bool:
    """Tell whether the list is long enough to be narrowed, or narrowed already."""
    of_frames = bench.is_of_frames(queue.step)
    return of_frames and (bool(only) or queue.page.paginator.count > NARROW_FROM)


def _choices() -> dict[str, Any]:
    return {
        "models": FrameModel.objects.values_list("code", "name"),
        "colours": Colour.objects.values_list("code", "name"),
    }


def _rows(queue: bench.Queue) -> list[dict[str, object]]:
    """Return each row with the words that the page shows beside it."""
    rows = list(queue.page)
    names = wording.part_names() if queue.why else {}
    tags = [row.tag for row in rows] if bench.is_of_frames(queue.step) else []
    hands = in_hand.holders(tags, timezone.now()) if tags else {}
    return [
        _row(row, queue.why.get(row.pk), names) | {"hand": hands.get(getattr(row, "tag", ""))}
        for row in rows
    ]


def _row(row: Any, grading: Grading | None, names: dict[str, str]) -> dict[str, object]:
    state = str(getattr(row, "state", ""))
    return {
        "it": row,
        "answered": getattr(row, "last_event", "") == asking.ANSWER,
        "pauses": _pauses(row),
        "state": wording.STATES.get(state, state),
        "why": wording.why_held(grading, names) if grading is not None else "",
    }


def _pauses(row: Any) -> bool:
    """Whether a promised day pauses: not where it was over when the customer was asked."""
    asked_on = getattr(row, "asked_on", None)
    return asked_on is not None and not waits.was_late(row.promised_by, asked_on)
