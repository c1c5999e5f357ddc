"""Sessions in the database, in a table that knows whose they are.

The session's own data say who signed in, when and where; the columns repeat it to look it up by.
Django's documentation names this way ("Extending database-backed session engines").
"""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

from django.contrib.auth import SESSION_KEY
from django.contrib.sessions.backends.db import SessionStore as DatabaseStore
from django.utils import timezone

from inventory.models import OpenSession

ENTRY: Final = "entry"
"""In the session: when and where its person signed in, and when it was last used."""

SECOND: Final = "second_factor"
"""In the session: SHOW or MAKE until it is done, then DONE. Absent is as good as not done."""
SHOW, MAKE, DONE = "show", "make", "done"


class SessionStore(DatabaseStore):
    """The framework's store in the database, over our table."""

    @classmethod
    def get_model_class(cls) -> type[OpenSession]:
        return OpenSession

    def create_model_instance(self, data: dict[str, Any]) -> Any:
        row: Any = super().create_model_instance(data)
        entry = data.get(ENTRY) or {}
        row.user_id = data.get(SESSION_KEY)
        row.began_at, row.seen_at = _time(entry.get("began")), _time(entry.get("seen"))
        row.address, row.browser = entry.get("address"), entry.get("browser") or ""
        return row


def entry(*, at: datetime, address: str | None, browser: str) -> dict[str, Any]:
    """What a session remembers of its beginning; a session's data hold no date, only text."""
    now = at.isoformat()
    return {"began": now, "seen": now, "address": address, "browser": browser}


def seen(kept: dict[str, Any], at: datetime) -> dict[str, Any]:
    """The same entry, used at this moment."""
    return {**kept, "seen": at.isoformat()}


def idle_s(kept: dict[str, Any], at: datetime) -> float:
    """Seconds since the last use."""
    return _since(kept.get("seen"), at)


def age_s(kept: dict[str, Any], at: datetime) -> float:
    """Seconds since somebody signed in."""
    return _since(kept.get("began"), at)


def _since(text: Any, at: datetime) -> float:
    found = _time(text)
    return (at - found).total_seconds() if found else float("inf")


def _time(text: Any) -> datetime | None:
    found = datetime.fromisoformat(text) if isinstance(text, str) else None
    return found if found is None or timezone.is_aware(found) else None
