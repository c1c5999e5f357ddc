"""The history, and the guard that makes a repeated request a normal outcome.

Every rule that changes state first asks `repeated()` with the caller's id, and ends with
`record()` in the same transaction.
"""

from __future__ import annotations

import hashlib
import json
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils.crypto import salted_hmac

from inventory.errors import KeyReused
from inventory.models import Deed

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def fingerprint(facts: Any) -> str:
    """SHA-256 of the canonical JSON of what was asked. Hex, 64 characters."""
    text = json.dumps(facts, sort_keys=True, ensure_ascii=False, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def sealed(salt: str, text: str) -> str:
    """A fingerprint, hex, that nobody without the server's secret can try texts against."""
    return salted_hmac(salt, text, algorithm="sha256").hexdigest()


def repeated(*, key: UUID, name: str, facts: Any) -> Deed | None:
    """The earlier deed under this id, if it asked the same; KeyReused if it asked otherwise."""
    deed = Deed.objects.filter(key=key).first()
    if deed is None:
        return None
    if deed.name != name or deed.fingerprint != fingerprint(facts):
        raise KeyReused()
    return deed


def record(
    *,
    key: UUID,
    name: str,
    subject: str,
    facts: Any,
    at: datetime,
    actor: User | None = None,
    detail: dict[str, Any] | None = None,
) -> Deed:
    """Write the history row. `detail` holds codes and ids only."""
    return Deed.objects.create(
        key=key,
        name=name,
        subject=subject,
        actor=actor,
        at=at,
        fingerprint=fingerprint(facts),
        detail=detail or {},
    )
