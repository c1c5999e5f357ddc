"""Carrying what belongs to one subject between the shelf, the hold and the bench."""

from __future__ import annotations

import uuid
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from inventory.ledger.queries import balances
from inventory.ledger.rules import ledger, places
from inventory.models import Movement, PlaceKind

if TYPE_CHECKING:
    from django.contrib.auth.models import User

_SHELVES = (PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH)


@transaction.atomic
def carry(
    *,
    key: UUID,
    subject: str,
    to: PlaceKind,
    at: datetime,
    actor: User | None = None,
) -> Movement | None:
    """Put everything of a subject that lies on shelf, hold or bench to one of the three.

    Returns None when all of it is there already. `key` is that of the action; the movement's is
    derived from it.
    """
    lines = [
        ledger.Line(places.mass(kind), places.mass(to), mass_mg)
        for kind in _SHELVES
        # Asked of the postings and not of the balance cache: a shelf holds many subjects, its
        # balance is of them all together.
        if kind != to and (mass_mg := balances.held_mg(subject=subject, kind=kind)) > 0
    ]
    if not lines:
        return None
    return ledger.post(
        key=uuid.uuid5(key, "carry"),
        kind="carry",
        lines=lines,
        happened_at=at,
        story=ledger.Story(subject=subject, actor=actor),
    )
