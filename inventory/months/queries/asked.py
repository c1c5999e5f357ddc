"""What the accountant has asked the bench to settle before a month can close. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from inventory.models import Event
from inventory.months.queries import months
from inventory.months.queries.months import Reason

NAME = "months.ask_bench"


@dataclass(frozen=True, slots=True)
class Asked:
    """A reason that still stands, for which the bench was asked last at that moment."""

    month: str
    reason: Reason
    at: datetime


def last_asked(label: str) -> dict[str, datetime]:
    """Return code -> when the bench was last asked for it, for a month."""
    rows = Event.objects.filter(name=NAME, detail__month=label).order_by("at")
    return dict(rows.values_list("subject", "at"))


def waiting(at: datetime) -> list[Asked]:
    """Return what the bench is asked for and has not settled; the next month to close alone."""
    following = months.next_to_close()
    asked = last_asked(str(following)) if following else {}
    # The reasons are asked only where somebody asked: they look through the whole house.
    if not asked:
        return []
    return [
        Asked(str(following), reason, asked[reason.subject])
        for reason in months.reasons(str(following), at)
        if reason.subject in asked
    ]
