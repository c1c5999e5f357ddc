"""Machine tokens: shown once, stored as a SHA-256, with scopes and an expiry."""

from __future__ import annotations

import hashlib
import secrets
import uuid
from datetime import datetime, timedelta

from django.contrib.auth.models import User
from django.db import transaction
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput
from inventory.models import AccessToken

SCOPES = ("file", "bench", "accounts", "owner", "read")


PREFIX = "hb_"


DAYS_MAX = 366


NAME_LENGTH_MAX = 60


HANDLE_LENGTH = 12


@transaction.atomic
def issue(
    *, name: str, user: User, scopes: list[str], days: int, at: datetime
) -> tuple[AccessToken, str]:
    """Make a token. The second value is the only time its text exists outside the caller.

    Raises BadInput for a name, scopes or days that will not do.
    """
    if not name.strip().isprintable() or not 1 <= len(name.strip()) <= NAME_LENGTH_MAX:
        raise BadInput(_("Name the machine or job that uses it, in one line."), field="name")
    unknown = sorted(set(scopes) - set(SCOPES))
    if unknown or not scopes:
        raise BadInput(_("Choose at least one scope of: %s.") % ", ".join(SCOPES), field="scopes")
    if not 1 <= days <= DAYS_MAX:
        raise BadInput(_("A token lives from 1 to %d days.") % DAYS_MAX, field="days")
    text = PREFIX + secrets.token_urlsafe(32)
    row = AccessToken.objects.create(
        name=name.strip(),
        user=user,
        # The text itself is stored nowhere: who copies the table holds no token.
        digest=_digest(text),
        scopes=sorted(set(scopes)),
        created_at=at,
        expires_at=at + timedelta(days=days),
    )
    _record("tokens.issue", row, at, user)
    return row, text


@transaction.atomic
def revoke(*, token: AccessToken, at: datetime, by: User | None = None) -> None:
    """End a token now. A repeat changes nothing."""
    rows = AccessToken.objects.filter(pk=token.pk, revoked_at=None)
    # Only the call that ends it leaves an event, with the moment at which it really ended.
    if rows.update(revoked_at=at) == 1:
        _record("tokens.revoke", token, at, by)


def handle(token: AccessToken) -> str:
    """Return how a token is named: the first characters of its digest, which open nothing."""
    return token.digest[:HANDLE_LENGTH]


def _record(name: str, token: AccessToken, at: datetime, by: User | None) -> None:
    events.record(
        key=uuid.uuid4(),
        name=name,
        subject=f"token-{handle(token)}",
        facts=[name, token.pk],
        at=at,
        actor=by,
        detail={"scopes": token.scopes},
    )


def _digest(text: str) -> str:
    # 256 random bits need no slow hash: there is nothing to guess from.
    return hashlib.sha256(text.encode()).hexdigest()
