"""Is all well with this service? A list of checks, for people and for monitors.

Each tells what was seen beside the verdict. None of them decides whether a web process may serve:
a worker in trouble is a person's matter, and taking the pages away would not help.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

import redis
from django.conf import settings
from django.db import connection
from django.db.models import Max, Min

from inventory.models import Event, Movement, OutboxMessage
from inventory.running.queries import copies, outbox

LATE_AFTER: Final = timedelta(minutes=10)
AHEAD_AT_MOST: Final = timedelta(minutes=1)
# Under this a photo, a report and a night's copy may not all find room.
DISK_FREE_MIN_BYTES: Final = 1_000_000_000
_LAST_WRITTEN: Final = 500


@dataclass(frozen=True)
class Check:
    """One question. `seen` is what was found, in `unit`; None where there was nothing to see."""

    code: str
    is_well: bool
    seen: int | None
    unit: str


def checks(at: datetime) -> list[Check]:
    """Ask all questions, the most urgent first. `at` is this process's time."""
    return [*of_the_machine(at), _given_up(), _failing(), _mail(), _copy(at)]


def of_the_machine(at: datetime) -> list[Check]:
    """Ask those that whoever runs the machine must answer first."""
    return [_disk(), _clock(at), *_database_clock(at), *_redis(), _oldest_message(at)]


def _disk() -> Check:
    free_bytes = shutil.disk_usage(settings.DATA_DIR).free
    return Check("disk", free_bytes >= DISK_FREE_MIN_BYTES, free_bytes, "bytes")


def _clock(at: datetime) -> Check:
    """Whether the record holds a moment that is still to come: a clock was set back."""
    # The last that were written, not all: nobody asks of a page that it reads the whole history.
    events = Event.objects.order_by("-pk")[:_LAST_WRITTEN]
    movements = Movement.objects.order_by("-pk")[:_LAST_WRITTEN]
    newest = [
        events.aggregate(newest=Max("at"))["newest"],
        movements.aggregate(newest=Max("recorded_at"))["newest"],
    ]
    ahead = max((moment - at for moment in newest if moment), default=timedelta())
    seconds = max(0, int(ahead.total_seconds()))
    return Check("clock", ahead <= AHEAD_AT_MOST, seconds, "s")


def _database_clock(at: datetime) -> list[Check]:
    """How far the database's own clock is from ours; SQLite has none."""
    if connection.vendor != "postgresql":
        return []
    with connection.cursor() as cursor:
        # The wall clock of this statement: now() would stand still within a transaction.
        cursor.execute("SELECT clock_timestamp()")
        apart = abs(cursor.fetchone()[0] - at)
    return [Check("database-clock", apart <= AHEAD_AT_MOST, int(apart.total_seconds()), "s")]


def _redis() -> list[Check]:
    if not settings.REDIS_URL:
        return []
    asked = redis.Redis.from_url(settings.REDIS_URL, socket_connect_timeout=1, socket_timeout=1)
    try:
        return [Check("redis", bool(asked.ping()), None, "")]
    except redis.RedisError:
        return [Check("redis", False, None, "")]
    finally:
        asked.close()


def _oldest_message(at: datetime) -> Check:
    """How long the oldest message waits that could be settled now.

    By the work left undone and not by a sign of life: a worker that hangs may still answer.
    """
    waiting = OutboxMessage.objects.filter(settled_at=None, given_up_at=None, available_at__lte=at)
    oldest = waiting.aggregate(oldest=Min("available_at"))["oldest"]
    waits = at - oldest if oldest else timedelta()
    return Check("worker", waits <= LATE_AFTER, int(waits.total_seconds()), "s")


def _given_up() -> Check:
    count = outbox.given_up_rows().count()
    return Check("given-up", count == 0, count, "messages")


def _failing() -> Check:
    count = outbox.failing_rows().count()
    return Check("failing", count == 0, count, "messages")


def _mail() -> Check:
    return Check("mail", settings.MAIL_GOES_OUT, None, "")


def _copy(at: datetime) -> Check:
    standing = copies.standing()
    age_s = int((at - standing.proved.at).total_seconds()) if standing.proved else None
    return Check("copy", not standing.is_old(at), age_s, "s")
