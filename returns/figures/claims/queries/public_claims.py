"""What everybody may read: the sentences that have their evidence, over closed months only.

Closed months never change, so what was read once can be found again.
"""

from __future__ import annotations

from dataclasses import dataclass

from inventory.models import Month as ClosedMonth
from inventory.months.sums.calendar_month import Month
from returns.figures.circularity.queries.circularity import circularity
from returns.figures.claims.queries import claims_sheet
from returns.figures.claims.queries.claims_sheet import Line
from returns.figures.span.queries import Scope, Span, by_index, index

MONTHS = 12
METHODS = {
    "recycled_content": "recycled-content",
    "closed_loop_share": "recycled-content",
    "take_back_rate": "take-back",
    "repair_share": "take-back",
    "recovery_yield": "recovery-yield",
}
"""Key of a sentence -> its entry on the page of methods."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PublicClaims:
    """The publishable lines of the last closed months, at most a year; `digest` seals the last."""

    span: Span
    digest: str
    lines: tuple[Line, ...]


def public_claims() -> PublicClaims | None:
    """Return the claims; None while no month is closed. The page asks whether it is open."""
    closed = list(ClosedMonth.objects.order_by("-label").values_list("label", "digest")[:MONTHS])
    if not closed:
        return None
    last = Month.parse(closed[0][0])
    # Twelve closed months may reach back further than a year, where months between them are not
    # closed.
    first = max(Month.parse(closed[-1][0]), by_index(index(last) - MONTHS + 1))
    span = Span(first, last)
    lines = claims_sheet.sheet(circularity(span, Scope()))
    # A withheld line is left out here, not shown as withheld: that we lack evidence is no claim.
    good = tuple(line for line in lines if line.may_be_published)
    return PublicClaims(span=span, digest=closed[0][1], lines=good)
