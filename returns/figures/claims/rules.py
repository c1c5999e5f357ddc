"""The owner opens the public page of claims, or shuts it again. Each is an action of its own."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from inventory import events
from inventory.events import Draft
from inventory.models import Workshop

if TYPE_CHECKING:
    from django.contrib.auth.models import User

OPENED, SHUT = "claims.open", "claims.shut"


@events.rule(OPENED, facts=lambda: [OPENED], again=lambda: None)
def open_claims(event: Draft, /, *, key: UUID, at: datetime, by: User) -> None:
    """Open the page: from now on everybody may read the sentences that have their evidence."""
    _turn(event, is_open=True)


@events.rule(SHUT, facts=lambda: [SHUT], again=lambda: None)
def shut_claims(event: Draft, /, *, key: UUID, at: datetime, by: User) -> None:
    """Shut the page: it is gone for everybody, and no link leads to it."""
    _turn(event, is_open=False)


def _turn(event: Draft, *, is_open: bool) -> None:
    # Makes the row on a fresh installation, where the update would find none and do nothing.
    Workshop.the()
    # One column and not the whole row: saving it would undo what somebody else changes meanwhile.
    Workshop.objects.filter(pk=1).update(public_page=is_open)
    event.of("claims")
