"""Making an access token once: a repeated form never makes a second one."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, NoReturn
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict
from inventory.events import Draft
from inventory.models import AccessToken
from inventory.staff.rules import tokens

if TYPE_CHECKING:
    from django.contrib.auth.models import User


# The text is not stored, so a repeat cannot be answered; it is refused instead of getting
# another.
def _refuse_second() -> NoReturn:
    raise Conflict(
        _("This token was made already, and its text is shown only once. Make another one.")
    )


@events.rule(
    "tokens.issue",
    facts=lambda name, scopes, days: [name, sorted(scopes), days],
    again=_refuse_second,
)
def issue(
    event: Draft,
    /,
    *,
    key: UUID,
    name: str,
    scopes: Sequence[str],
    days: int,
    at: datetime,
    by: User,
) -> tuple[AccessToken, str]:
    """Make a token for `by`. Its text exists in this answer only.

    Raises BadInput naming the field, Conflict for a repeat: the text cannot be told again.
    """
    if not name.strip():
        raise BadInput(_("Say what the token is for."), field="name")
    token, text = tokens.issue(name=name.strip(), user=by, scopes=list(scopes), days=days, at=at)
    event.of(_subject(token))
    return token, text


def revoke(*, token: AccessToken, at: datetime, by: User) -> None:
    """End a token; one that is revoked already stays so."""
    # A token is revoked once, so the event's id is made of its own digest.
    key = uuid.uuid5(uuid.NAMESPACE_OID, f"hingeback revoke {token.digest}")
    _revoke(key=key, token=token, at=at, by=by)


@events.rule("tokens.revoke", facts=lambda token: [token.pk], again=lambda: None)
def _revoke(event: Draft, /, *, key: UUID, token: AccessToken, at: datetime, by: User) -> None:
    tokens.revoke(token=token, at=at)
    event.of(_subject(token))


def _subject(token: AccessToken) -> str:
    return f"token-{token.pk}"
