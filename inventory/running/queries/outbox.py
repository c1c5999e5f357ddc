"""What waits in the outbox: what was given up, and what fails again and again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet

from inventory.models import OutboxMessage

# After so many tries, some quarter of an hour, it is no hiccup any more.
FAILING_TRIES = 5


@dataclass(frozen=True)
class Trouble:
    """How many messages were given up, how many fail, since when, and the last answer."""

    given_up: int
    failing: int
    since: datetime | None
    last_error: str


def trouble() -> Trouble:
    # Oldest first: its moment says since when, and its error is the one that has lasted.
    failing = failing_rows().order_by("created_at")
    first = failing.first()
    return Trouble(
        given_up=given_up_rows().count(),
        failing=failing.count(),
        since=first.created_at if first else None,
        last_error=first.last_error if first else "",
    )


def given_up_rows() -> QuerySet[OutboxMessage]:
    return OutboxMessage.objects.filter(settled_at=None).exclude(given_up_at=None)


def failing_rows() -> QuerySet[OutboxMessage]:
    return OutboxMessage.objects.filter(settled_at=None, given_up_at=None, tries__gte=FAILING_TRIES)
