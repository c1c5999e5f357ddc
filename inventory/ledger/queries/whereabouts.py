"""Where the mass of one subject, such as a frame's tag, lies now. Reads only."""

from __future__ import annotations

from django.db.models import QuerySet, Sum

from inventory.models import PlaceKind, Posting, Unit


def held_mg(*, subject: str, kind: PlaceKind) -> int:
    """Return the milligrams that a subject's movements have left at the places of one kind."""
    rows = Posting.objects.filter(movement__subject=subject)
    # Pieces are left out on both ends: a subject's parts are counted, and would add to its grams.
    return _sum(rows.filter(target__kind=kind, target__unit=Unit.MILLIGRAM)) - _sum(
        rows.filter(source__kind=kind, source__unit=Unit.MILLIGRAM)
    )


def _sum(rows: QuerySet[Posting]) -> int:
    return rows.aggregate(total=Sum("quantity"))["total"] or 0
