"""Machine tokens: shown once, stored as a SHA-256, with scopes and an expiry."""

from __future__ import annotations

import hashlib
import secrets
import uuid
from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import NoReturn
from uuid import UUID

from django.contrib.auth.models import User
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.models import AccessToken

SCOPES = ("file", "bench", "accounts", "owner", "read")
PREFIX = "hb_"
DAYS_MAX = 366
NAME_LENGTH_MAX = 60
HANDLE_LENGTH = 12


# The text is not stored, so a repeat cannot be answered; it is refused instead of getting
# another.
def _refuse_second() -> NoReturn:
    raise Conflict(
        _("This token was made already, and its text is shown only once. Make another one.")
    )


@events.rule(
    "tokens.issue",
    facts=lambda name, user, scopes, days: [name, user.pk, sorted(scopes), days],
    again=_refuse_second,
)
def issue(
    event: Draft,
    /,
    *,
    key: UUID,
    name: str,
    user: User,
    scopes: Sequence[str],
    days: int,
    at: datetime,
    by: User,
) -> tuple[AccessToken, str]:
    """Make a token that narrows the roles of `user`; `by` makes it.

    The second value is the only time its text exists outside the caller. Raises BadInput for a
    name, scopes or days that will not do, and Conflict for a repeat: the text is shown only once.
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
    event.of(_subject(row), scopes=row.scopes)
    return row, text


def revoke(*, token: AccessToken, at: datetime, by: User) -> None:
    """End a token now; one that is revoked already stays so."""
    # A token is revoked once, so the event's id is made of its own digest.
    key = uuid.uuid5(uuid.NAMESPACE_OID, f"hingeback revoke {token.digest}")
    _revoke(key=key, token=token, at=at, by=by)


@events.rule("tokens.revoke", facts=lambda token: [token.pk], again=lambda: None)
def _revoke(event: Draft, /, *, key: UUID, token: AccessToken, at: datetime, by: User) -> None:
    # The moment at which it really ended stays, whoever asks again.
    AccessToken.objects.filter(pk=token.pk, revoked_at=None).update(revoked_at=at)
    event.of(_subject(token), scopes=token.scopes)


def handle(token: AccessToken) -> str:
    """Return how a token is named: the first characters of its digest, which open nothing."""
    return token.digest[:HANDLE_LENGTH]


def _subject(token: AccessToken) -> str:
    return f"token-{handle(token)}"


def _digest(text: str) -> str:
    # 256 random bits need no slow hash: there is nothing to guess from.
    return hashlib.sha256(text.encode()).hexdigest()
