"""What places held at the turn of a month, derived from snapshots and postings only.

The balance cache is never read here: a figure in a report must not rest on it.
"""

from __future__ import annotations

from django.db.models import QuerySet, Sum

from inventory.models import Month, MonthBalance, PlaceKind, Posting, Unit
from inventory.months.sums.calendar_month import Month as CalendarMonth


def at_close(label: str) -> dict[int, int]:
    """Return place id -> quantity at the end of a month, in the place's own unit, without zeros.

    Starts from the newest snapshot that is not later, and adds the postings booked since.
    """
    # The snapshot bounds the work: only the postings after it are summed, not those of all years.
    snapshot = Month.objects.filter(label__lte=label).order_by("-label").first()
    rows = Posting.objects.filter(movement__month__lte=label)
    if snapshot is None:
        return _without_zeros(net(rows))
    held = dict(MonthBalance.objects.filter(month=snapshot).values_list("place_id", "quantity"))
    for place, change in net(rows.filter(movement__month__gt=snapshot.label)).items():
        held[place] = held.get(place, 0) + change
    return _without_zeros(held)


def at_start(label: str) -> dict[int, int]:
    """Return place id -> quantity at the beginning of a month, without zeros."""
    return at_close(str(CalendarMonth.parse(label).previous()))


def net(postings: QuerySet[Posting]) -> dict[int, int]:
    """Return place id -> what came in less what went out, over the given postings."""
    change: dict[int, int] = {}
    for end, sign in (("source", -1), ("target", 1)):
        # Two grouped sums in the database, one for each end, however many postings there are.
        sums = postings.order_by().values(end).annotate(moved=Sum("quantity"))
        for place, moved in sums.values_list(end, "moved"):
            change[place] = change.get(place, 0) + sign * moved
    return change


def _without_zeros(held: dict[int, int]) -> dict[int, int]:
    return {place: quantity for place, quantity in held.items() if quantity}


def held_mg(*, subject: str, kind: PlaceKind) -> int:
    """Return the milligrams that a subject's movements have left at the places of one kind."""
    rows = Posting.objects.filter(movement__subject=subject)
    # Pieces are left out on both ends: a subject's parts are counted, and would add to its grams.
    return _sum(rows.filter(target__kind=kind, target__unit=Unit.MILLIGRAM)) - _sum(
        rows.filter(source__kind=kind, source__unit=Unit.MILLIGRAM)
    )


def _sum(rows: QuerySet[Posting]) -> int:
    return rows.aggregate(total=Sum("quantity"))["total"] or 0
