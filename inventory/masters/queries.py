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
    """Read from the database."""
    return Workshop.objects.filter(pk=1, demo=True).exists()


def is_on_lately() -> bool:
    """As read within the last minute, for what every answer needs; False without a database."""
    known: bool | None = cache.get(_KEY)
    if known is None:
        try:
            known = is_on()
        except DatabaseError:
            return False
        cache.set(_KEY, known, _KEPT_S)
    return known


def forget() -> None:
    """Read anew at the next question; for the one who loads the demo."""
    cache.delete(_KEY)
