"""Whether this installation runs on invented data.

The flag is written once, when the demo is loaded into an empty database, and no page changes it.
"""

from __future__ import annotations

from django.core.cache import cache
from django.db import DatabaseError

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
