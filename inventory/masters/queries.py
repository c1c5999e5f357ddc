"""What the workshop's own row answers: whether its data is invented, and which day is promised.

The flag of the demo is written once, when it is loaded into an empty database, and no page changes
it.
"""

from __future__ import annotations

from collections.abc import Callable, Container
from datetime import date, datetime
from functools import cache as remembered

from django.core.cache import cache
from django.db import DatabaseError

from inventory import clock
from inventory.masters import sums
from inventory.models import Workshop

FILE_PREFIX = "practice-"
_KEY = "hingeback-practice"
_KEPT_S = 60


def is_on() -> bool:
    """Return whether the data is invented, read from the database now."""
    return Workshop.objects.filter(pk=1, demo=True).exists()


def is_on_lately() -> bool:
    """Return what was read within the last minute, for every answer; False without a database."""
    known: bool | None = cache.get(_KEY)
    if known is None:
        try:
            known = is_on()
        except DatabaseError:
            # Not kept: the database may be back at the next question. An error page must come out
            # meanwhile, and it asks too.
            return False
        cache.set(_KEY, known, _KEPT_S)
    return known


def forget() -> None:
    """Read the flag anew at the next question; whoever loads the demo calls this."""
    cache.delete(_KEY)


def promised_day(workshop: Workshop, at: datetime, days: int) -> date:
    """Return the day promised now for so many days ahead, past holidays and closing days."""
    return sums.promised(clock.day_of(at), days, closed_days(workshop))


def closed_days(workshop: Workshop) -> Callable[[date], bool]:
    """Return what tells of a day whether the workshop is closed: on a holiday, or by its own table.

    Source of the holidays: the tables of the `holidays` package for the workshop's country and
    region; a country that it does not know has none.
    """
    spans = [tuple(map(date.fromisoformat, span)) for span in workshop.closed_days]
    public = _holidays(workshop.country, workshop.holiday_region) if workshop.keeps_holidays else ()

    def is_closed(day: date) -> bool:
        return day in public or any(first <= day <= last for first, last in spans)

    return is_closed


def regions(country: str) -> list[str]:
    """Return the codes of the regions with holidays of their own, such as BY."""
    import holidays

    return list(holidays.list_supported_countries().get(country, []))


@remembered
def _holidays(country: str, region: str) -> Container[date]:
    # Imported where it is first needed: its tables are many.
    import holidays

    try:
        # It adds a year by itself as soon as one of its days is asked for.
        known = region if region in regions(country) else None
        return holidays.country_holidays(country, subdiv=known)
    except NotImplementedError:
        return ()
