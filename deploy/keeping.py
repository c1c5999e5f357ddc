"""When a copy is due, and which copies stay: pure sums over their times.

The rule of days, weeks and months is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import datetime, timedelta, tzinfo

DAYS, WEEKS, MONTHS = 7, 4, 12
NIGHT_HOUR = 2
AGAIN_AFTER = timedelta(hours=1)


def is_due(*, last: datetime | None, failed: datetime | None, now: datetime, zone: tzinfo) -> bool:
    """Once a day from two at night; on a machine that was off then, as soon as it runs again."""
    # A disk that is full stays full for a while; a try at each beat would only fill the log.
    if failed is not None and now - failed < AGAIN_AFTER:
        return False
    if last is None:
        return True
    # In the workshop's zone: a night is a night of the people who work there.
    here, then = now.astimezone(zone), last.astimezone(zone)
    return here.date() > then.date() and here.hour >= NIGHT_HOUR


def kept(times: Iterable[datetime], zone: tzinfo) -> set[datetime]:
    """The newest copy of each of the last 7 days, 4 weeks and 12 months that have one.

    A span without a copy takes no place: a machine that was off for a year forgets nothing.
    """
    newest_first = sorted(times, reverse=True)
    spans: tuple[tuple[int, Callable[[datetime], object]], ...] = (
        (DAYS, lambda at: at.astimezone(zone).date()),
        (WEEKS, lambda at: at.astimezone(zone).isocalendar()[:2]),
        (MONTHS, lambda at: (at.astimezone(zone).year, at.astimezone(zone).month)),
    )
    found: set[datetime] = set()
    for most, span in spans:
        newest: dict[object, datetime] = {}
        for at in newest_first:
            # Newest first, so the first of a span is its newest, and the dictionary keeps that
            # order.
            newest.setdefault(span(at), at)
        found |= set(list(newest.values())[:most])
    return found
