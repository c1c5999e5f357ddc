"""How many days a frame takes, from its weigh-in until we did what we promised its customer."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import datetime
from itertools import dropwhile, pairwise
from statistics import median

from django.db.models import Min, OuterRef, Subquery
from django.db.models.functions import Coalesce

from inventory import clock
from inventory.models import Movement
from inventory.months.sums.calendar_month import month_of
from returns.figures.circularity.queries.judged import Judged
from returns.figures.circularity.queries.outcomes import (
    AS_IS,
    DISCARDED,
    MENDED,
    REGROUND,
    outcomes,
)
from returns.figures.circularity.sums.circularity import counted_share
from returns.figures.span.queries import Scope, Span, zone
from returns.story.sums.states import ON_A_SHELF

# Bins of whole days: first day of each; the last one is open.
BINS = (0, 4, 8, 15, 22, 29, 43)


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """Frames that took `first` to `last` days; `last` is None where there is no end."""

    first: int
    last: int | None
    frames: int

    @property
    def label(self) -> str:
        return f"{self.first}+" if self.last is None else f"{self.first}–{self.last}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Turnaround:
    """Days from weigh-in until done, of the frames that were done in the span."""

    done: int
    kept: Judged
    median_days: float | None
    slowest_days: int | None
    bins: tuple[Bin, ...]


def turnaround(span: Span, scope: Scope) -> Turnaround:
    """Return the days taken, in one question. A promise is kept when a frame is done by its day.

    Done is posted, as it is or mended, or taken apart into its box: grinding waits for a full box,
    and the customer was told so.
    """
    # A strip-down that was reversed did not happen, and its reversal is no strip-down either.
    apart = Movement.objects.filter(
        kind="strip_down", subject=OuterRef("tag"), reverses=None, reversed_by=None
    ).order_by("-happened_at")
    rows = scope.frames().exclude(state__in=ON_A_SHELF).order_by()
    rows = rows.annotate(
        done_at=Coalesce(Subquery(apart.values("happened_at")[:1]), "ended_at")
    ).filter(span.holds("done_at"))
    days: list[int] = []
    kept = 0
    for weighed_at, done_at, promised_by in rows.values_list(
        "weighed_at", "done_at", "promised_by"
    ):
        # In whole days on the workshop's calendar: a promise names a day, not an hour.
        came, done = clock.day_of(weighed_at), clock.day_of(done_at)
        days.append(max(0, (done - came).days))
        kept += done <= promised_by
    return Turnaround(
        done=len(days),
        kept=Judged.of(lambda: counted_share(count=kept, of=len(days))),
        median_days=float(median(days)) if days else None,
        slowest_days=max(days, default=None),
        bins=_bins(days),
    )


def _bins(days: list[int]) -> tuple[Bin, ...]:
    ends = [after - 1 for _first, after in pairwise(BINS)]
    return tuple(
        Bin(
            first=first,
            last=last,
            frames=sum(1 for d in days if d >= first and (last is None or d <= last)),
        )
        for first, last in zip(BINS, [*ends, None], strict=True)
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class MonthRow:
    """One month: frames weighed in, and frames that were mended, put into a box, or else."""

    month: str
    received: int
    repaired: int
    reground: int
    other: int


def by_month(span: Span, scope: Scope) -> tuple[MonthRow, ...]:
    """Return a row for every month of the span. Two questions to the database."""
    came: Counter[str] = Counter()
    weighed = scope.frames().filter(span.holds("weighed_at")).order_by()
    # By the function that names the ledger's months too, so that both agree about midnight.
    for moment in weighed.values_list("weighed_at", flat=True):
        came[_label(moment)] += 1
    first, last = span.labels
    became = outcomes(scope, first=first, last=last)
    return tuple(_row(str(month), came, became) for month in span.months)


def from_first_sale(rows: tuple[MonthRow, ...], scope: Scope) -> tuple[MonthRow, ...]:
    """Return the rows without the empty months before the first sale, or before anything came."""
    first = scope.sold().filter(pieces__gt=0).aggregate(first=Min("month"))["first"]

    def is_before(row: MonthRow) -> bool:
        nothing = not (row.received or row.repaired or row.reground or row.other)
        return nothing and (first is None or row.month < first)

    return tuple(dropwhile(is_before, rows))


def _row(month: str, came: Counter[str], became: Counter[tuple[str, str]]) -> MonthRow:
    return MonthRow(
        month=month,
        received=came[month],
        repaired=became[month, MENDED],
        reground=became[month, REGROUND],
        other=became[month, AS_IS] + became[month, DISCARDED],
    )


def _label(moment: datetime) -> str:
    return str(month_of(moment, zone()))
