"""Signing in and out, as people read it later; ending sessions; forgetting addresses in time."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

import structlog
from axes.models import AccessAttempt
from django.conf import settings
from django.contrib.auth.models import User
from django.db import transaction

from inventory.errors import NotFound
from inventory.furniture.sessions import SessionStore
from inventory.models import OpenSession, SignIn
from inventory.models.sessions import BROWSER_LENGTH_MAX

log = structlog.get_logger(__name__)

KEPT_FOR: Final = timedelta(days=366)
"""How long it is known who signed in when; from where, for `ADDRESS_DAYS` only."""
What = SignIn.What
_WORRYING: Final = frozenset({What.WRONG_PASSWORD, What.WRONG_CODE, What.SLOWED})


def note(
    *, what: str, user: User | None, at: datetime, address: str | None = None, browser: str = ""
) -> SignIn:
    """Keep what happened at the door. A name that nobody has is not kept: it may be a password."""
    row = SignIn.objects.create(
        what=what, user=user, at=at, address=address, browser=browser[:BROWSER_LENGTH_MAX]
    )
    # With the person's number and without the address: a log is kept by other rules than a table.
    tell = log.warning if what in _WORRYING else log.info
    tell("at_the_door", what=str(what), user_id=user.pk if user else None)
    return row


@transaction.atomic
def end(*, user: User, handle: str, at: datetime) -> None:
    """End one open session of a person. Raises NotFound for one that is not open, or another's."""
    there = OpenSession.objects.filter(user=user)
    found = next((one for one in there if one.handle == handle), None)
    if found is None:
        raise NotFound
    found.delete()
    note(what=What.ENDED, user=user, at=at, address=found.address, browser=found.browser)


def end_others(*, user: User, but: str | None = None) -> int:
    """End all sessions of a person, but the one with this key. Returns how many."""
    return OpenSession.objects.filter(user=user).exclude(session_key=but or "").delete()[0]


def prune(at: datetime) -> dict[str, int]:
    """Blank addresses and drop rows whose time is up. Returns how many of each."""
    known_since = at - timedelta(days=settings.ADDRESS_DAYS)
    named = SignIn.objects.filter(at__lt=known_since).exclude(address=None, browser="")
    SessionStore.clear_expired()
    return {
        "addresses": named.update(address=None, browser=""),
        "sign_ins": SignIn.objects.filter(at__lt=at - KEPT_FOR).delete()[0],
        "tries": AccessAttempt.objects.filter(attempt_time__lt=known_since).delete()[0],
    }
