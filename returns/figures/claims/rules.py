"""The owner opens the public page of claims, or shuts it again. Each is a deed of its own."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction

from inventory import deeds
from inventory.models import Workshop

if TYPE_CHECKING:
    from django.contrib.auth.models import User

OPENED, SHUT = "claims.open", "claims.shut"


@transaction.atomic
def open_claims(*, key: UUID, at: datetime, by: User) -> None:
    """From now on everybody may read the sentences that have their evidence."""
    _turn(OPENED, key=key, at=at, by=by)


@transaction.atomic
def shut_claims(*, key: UUID, at: datetime, by: User) -> None:
    """The page is gone for everybody, and no link leads to it."""
    _turn(SHUT, key=key, at=at, by=by)


def _turn(name: str, *, key: UUID, at: datetime, by: User) -> None:
    facts = [name]
    if deeds.repeated(key=key, name=name, facts=facts):
        return
    Workshop.the()
    Workshop.objects.filter(pk=1).update(public_page=name == OPENED)
    deeds.record(key=key, name=name, subject="claims", facts=facts, at=at, actor=by)
