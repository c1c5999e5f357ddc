"""Who has a frame in the hand just now: told to the others, and never a lock. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from inventory.models import Event

HELD_FOR: Final = timedelta(minutes=30)
"""After this long without a deed nobody has it in hand any more; common practice, no source."""

TAKEN, PUT_DOWN = "bench.take_in_hand", "bench.put_down"
# A word about a hand changes nothing of the frame, so it makes no newer version of its story.
WORDS: Final = (TAKEN, PUT_DOWN)
# What keeps the frame in the hand of who did it; any other deed lays it down.
_KEEPING: Final = frozenset(
    {
        TAKEN,
        "mending.open_job",
        "mending.add_step",
        "mending.drop_step",
        "mending.do_step",
        "mending.check",
    }
)


@dataclass(frozen=True, slots=True)
class Hand:
    """Who has a frame in the hand, by name, and since when."""

    user_id: int
    name: str
    since: datetime


def holders(tags: Iterable[str], at: datetime) -> dict[str, Hand]:
    """Return by tag who has it in the hand at a moment, in one question for all."""
    rows = Event.objects.filter(subject__in=list(tags), at__gt=at - HELD_FOR)
    # In rising order, so that of several deeds on a frame the last one decides.
    latest = {row.subject: row for row in rows.select_related("actor").order_by("pk")}
    return {
        tag: Hand(row.actor.pk, row.actor.get_short_name() or row.actor.get_username(), row.at)
        for tag, row in latest.items()
        if row.actor is not None and row.name in _KEEPING
    }
