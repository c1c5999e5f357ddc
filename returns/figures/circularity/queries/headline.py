"""Six figures that tell the owner how the workshop does, each with its range, now and before.

Before is as many months as were chosen, just before them. Reads only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import fmean, stdev

from django.db.models import Sum

from inventory.models import Balance, Origin, PlaceKind
from returns.figures.circularity.queries.circularity import Circularity, circularity
from returns.figures.circularity.queries.flows import Weighed
from returns.figures.circularity.queries.judged import Judged
from returns.figures.circularity.queries.turnaround import turnaround
from returns.figures.span.queries import MONTHS_MAX, Scope, Span, by_index, index
from returns.models import Grading

WEEKS_A_MONTH = 365.25 / 12 / 7
ISSUES_MIN = 4
GRADINGS_MIN = 5
GRADINGS_MAX = 2_000
TWO_SIDED = 1.96


@dataclass(frozen=True, slots=True)
class Figure:
    """A figure with its range; without one, both limits are the figure itself."""

    value: float
    low: float
    high: float

    def differs(self, other: Figure) -> bool:
        """Return whether the two ranges do not meet."""
        return self.low > other.high or self.high < other.low


@dataclass(frozen=True, slots=True, kw_only=True)
class Headline:
    """The six figures of one span; None where there is too little to say.

    Shares are 0 to 1, masses in mg, `flake_weeks` is what lies in lots of returns over what is
    moulded of it in a week, `cost_minor` the mean expected cost of a frame that was looked over.
    """

    promise: Figure | None
    repair: Figure | None
    recovered_mg: Figure | None
    moulded: Figure | None
    flake_weeks: Figure | None
    cost_minor: Figure | None


def headline(span: Span, scope: Scope, found: Circularity) -> Headline:
    """Return the figures of a span of which the circularity is known already."""
    return Headline(
        promise=_share(turnaround(span, scope).kept),
        repair=_share(found.repair_share),
        recovered_mg=_mass(found.recovered),
        moulded=_share(found.closed_loop),
        flake_weeks=_flake_weeks(span, found),
        cost_minor=_cost(span, scope),
    )


def before(span: Span) -> Span | None:
    """Return as many months just before a span; None where the calendar of the books ends."""
    first, last = index(span.first), index(span.last)
    length = last - first + 1
    if length > MONTHS_MAX or first - length < 1970 * 12:
        return None
    return Span(by_index(first - length), by_index(first - 1))


def headline_before(span: Span, scope: Scope) -> Headline | None:
    """Return the figures of the months just before; None where there are none such."""
    earlier = before(span)
    if earlier is None:
        return None
    return headline(earlier, scope, circularity(earlier, scope))


def _share(judged: Judged) -> Figure | None:
    share = judged.share
    return Figure(share.share, share.low, share.high) if share else None


def _mass(found: Weighed) -> Figure | None:
    if not found.mass_mg:
        return None
    return Figure(
        found.mass_mg, found.mass_mg - found.expanded_mg, found.mass_mg + found.expanded_mg
    )


def _flake_weeks(span: Span, found: Circularity) -> Figure | None:
    """Return for how many weeks the flake of returns lasts, at the pace of the span.

    The range is that of a pace known from so many issues (their count is Poisson).
    """
    share, issues = found.closed_loop.share, found.content.issues
    if share is None or not share.share or issues < ISSUES_MIN:
        return None
    lots = Balance.objects.filter(place__kind=PlaceKind.LOT, place__lot__origin=Origin.RETURN)
    held_mg = lots.aggregate(all=Sum("quantity"))["all"] or 0
    weeks = (index(span.last) - index(span.first) + 1) * WEEKS_A_MONTH
    lasts = held_mg / (share.share * found.content.counted_mg / weeks)
    off = min(0.9, TWO_SIDED / math.sqrt(issues))
    return Figure(lasts, lasts / (1 + off), lasts / (1 - off))


def _cost(span: Span, scope: Scope) -> Figure | None:
    rows = Grading.objects.filter(span.holds("at"), frame__in=scope.frames().order_by())
    kept = rows.order_by("-at").values_list("sums__figures", flat=True)[:GRADINGS_MAX]
    costs = [
        float(figures.get("expected_minor") or figures.get("replacement_minor") or 0)
        for figures in kept
        if figures
    ]
    if len(costs) < GRADINGS_MIN:
        return None
    mean, reach = fmean(costs), TWO_SIDED * stdev(costs) / math.sqrt(len(costs))
    return Figure(mean, mean - reach, mean + reach)
