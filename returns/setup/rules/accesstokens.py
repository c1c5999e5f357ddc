"""Making an access token once: a repeated form never makes a second one."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import deeds
from inventory.errors import BadInput, Conflict
from inventory.models import AccessToken
from inventory.staff.rules import tokens

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def issue(
    *, key: UUID, name: str, scopes: Sequence[str], days: int, at: datetime, by: User
) -> tuple[AccessToken, str]:
    """Make a token for `by`. Its text exists in this answer only.

    Raises BadInput naming the field, Conflict for a repeat: the text cannot be told again.
    """
    facts = [name, sorted(scopes), days]
    if deeds.repeated(key=key, name="tokens.issue", facts=facts):
        raise Conflict(
            _("This token was made already, and its text is shown only once. Make another one.")
        )
    if not name.strip():
        raise BadInput(_("Say what the token is for."), field="name")
    token, text = tokens.issue(name=name.strip(), user=by, scopes=list(scopes), days=days, at=at)
    deeds.record(
        key=key, name="tokens.issue", subject=_subject(token), facts=facts, at=at, actor=by
    )
    return token, text


@transaction.atomic
def revoke(*, token: AccessToken, at: datetime, by: User) -> None:
    """End a token; one that is revoked already stays so."""
    # A token is revoked once, so its own number is the deed's id.
    key = uuid.uuid5(uuid.NAMESPACE_OID, f"hingeback revoke {token.digest}")
    facts = [token.pk]
    if deeds.repeated(key=key, name="tokens.revoke", facts=facts):
        return
    tokens.revoke(token=token, at=at)
    deeds.record(
        key=key, name="tokens.revoke", subject=_subject(token), facts=facts, at=at, actor=by
    )


def _subject(token: AccessToken) -> str:
    return f"token-{token.pk}"
