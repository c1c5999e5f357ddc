"""What needs the owner today: promises that are late, parts that run thin, months to close.

A handful of small questions; the desk asks them each time it is opened.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Count, QuerySet

from inventory import clock
from inventory.months.queries import months
from inventory.months.queries.months import Standing
from inventory.parts import queries as parts
from returns.asking import queries as asking
from returns.figures.span.queries import Scope
from returns.models import Request, ReturnedFrame, WeighAudit
from returns.story.sums.states import ON_A_SHELF, RequestState

_KITS_DUE = (RequestState.RESERVED, RequestState.WAITING_STOCK)


@dataclass(frozen=True, slots=True)
class OpenAudit:
    """An audit whose frames wait to be weighed again."""

    number: int
    month: str
    frames: int


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnerToday:
    """Counts for today, and the months that have ended and are not closed, oldest first."""

    late_frames: int
    late_kits: int
    thin_parts: tuple[str, ...]
    months_to_close: tuple[str, ...]
    open_audits: tuple[OpenAudit, ...]
    unanswered: int


def owner_today(at: datetime) -> OwnerToday:
    day = clock.day_of(at)
    kits = Request.objects.filter(
        # On the promised day itself a kit is not late yet.
        kind=Request.Kind.SCREWS,
        state__in=_KITS_DUE,
        promised_by__lt=day,
    )
    return OwnerToday(
        late_frames=late_frames(Scope(), at).count(),
        late_kits=kits.count(),
        thin_parts=tuple(sorted(one.part.name for one in parts.to_order())),
        open_audits=open_audits(),
        unanswered=asking.unanswered(at).count(),
        # By label, which sorts by time.
        months_to_close=tuple(
            sorted(one.label for one in months.listed(at) if one.standing == Standing.ENDED)
        ),
    )


def open_audits() -> tuple[OpenAudit, ...]:
    rows = WeighAudit.objects.filter(state=WeighAudit.State.OPEN).order_by("drawn_at")
    counted = rows.annotate(count=Count("frames")).values_list("pk", "month", "count")
    return tuple(OpenAudit(*row) for row in counted)


def late_frames(scope: Scope, at: datetime) -> QuerySet[ReturnedFrame]:
    """Return frames still in the house whose promised day is over, and does not pause."""
    day = clock.day_of(at)
    rows = scope.frames().filter(state__in=ON_A_SHELF, promised_by__lt=day).order_by()
    return asking.not_pausing(rows)
