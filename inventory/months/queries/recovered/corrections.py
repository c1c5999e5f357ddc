"""What puts a closed month right afterwards, told by the correcting and by the corrected month.

A closed month never changes, so a mistake in it is reversed in a later month, and a fact of it that
comes in late is booked there. Both months say so: the later one among its figures, the closed one
beside them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from django.contrib.auth import get_user_model
from django.db.models import F, Q, QuerySet

from inventory import clock
from inventory.models import Movement
from inventory.months.queries.recovered.shapes import Correction


def made_in(label: str) -> tuple[Correction, ...]:
    """Return the reversals booked in a month that take back what an earlier month has booked."""
    rows = Movement.objects.filter(month=label, reverses__isnull=False)
    return _listed(rows.exclude(reverses__month=F("month")))


def made_to(label: str) -> tuple[Correction, ...]:
    """Return what later months have booked that puts this month right; empty while nothing did.

    Its own figures and digest stay as they were closed.
    """
    rows = Movement.objects.filter(Q(reverses__month=label) | Q(belongs_to=label))
    return _listed(rows.exclude(month=label))


def people(listed: Iterable[Correction]) -> dict[int, str]:
    """Return the login names of who made the corrections, by id."""
    # Looked up when shown and not kept in the figures: a login may be renamed.
    wanted = {one.actor for one in listed if one.actor is not None}
    rows = get_user_model().objects.filter(pk__in=wanted)
    return dict(rows.values_list("pk", "username"))


def _listed(rows: QuerySet[Movement]) -> tuple[Correction, ...]:
    found = rows.select_related("reverses").prefetch_related("postings__source")
    return tuple(_told(row) for row in found.order_by("number"))


def _told(movement: Movement) -> Correction:
    moved: Counter[str] = Counter()
    for posting in movement.postings.all():
        moved[posting.source.unit] += posting.quantity
    undone = movement.reverses
    return Correction(
        number=movement.number,
        kind=movement.kind,
        subject=movement.subject,
        booked_in=movement.month,
        corrects=undone.month if undone else movement.belongs_to,
        happened_on=clock.day_of(movement.happened_at).isoformat(),
        reverses=undone.number if undone else None,
        mass_mg=moved["mg"],
        pieces=moved["pc"],
        cost_minor=movement.cost_minor,
        reason=movement.reason,
        actor=movement.actor_id,
    )
