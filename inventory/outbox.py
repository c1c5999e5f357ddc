"""Duties that must happen: written with the fact, drained by the worker, swept after a crash.

At least once, never lost: the row is the record, the broker only wakes the worker up.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta
from random import SystemRandom
from typing import Any
from uuid import UUID

import structlog
from celery import current_app
from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils.module_loading import import_string

from inventory.models import OutboxMessage

_hushed: ContextVar[bool] = ContextVar("hushed", default=False)

SETTLE = "inventory.tasks.settle_message"
"""The worker's task for one row, by name: the worker stands on the outbox, not the other way."""
TRIES_MAX = 8
CLAIM = timedelta(minutes=10)

log = structlog.get_logger(__name__)


def enqueue(
    *, topic: str, subject: str, at: datetime, payload: dict[str, Any] | None = None
) -> OutboxMessage:
    """Write a duty in the caller's transaction and nudge the worker once that commits."""
    message = OutboxMessage(
        topic=topic, subject=subject, payload=payload or {}, created_at=at, available_at=at
    )
    if _hushed.get():
        message.settled_at = at
    message.save(force_insert=True)
    if message.settled_at is None:
        transaction.on_commit(lambda: _nudge(message.pk), robust=True)
    return message


@contextmanager
def hushed() -> Iterator[None]:
    """Duties written inside are settled at once: a story told of the past posts no letters."""
    token = _hushed.set(True)
    try:
        yield
    finally:
        _hushed.reset(token)


def _nudge(message_id: UUID) -> None:
    """Best effort: a broker that is away costs nothing but the wait for the next sweep."""
    current_app.send_task(SETTLE, (str(message_id),), retry=False, ignore_result=True)


def due(at: datetime) -> list[UUID]:
    """The oldest hundred duties that nobody holds."""
    rows = OutboxMessage.objects.filter(settled_at=None, given_up_at=None, available_at__lte=at)
    rows = rows.filter(Q(claimed_until=None) | Q(claimed_until__lt=at))
    return list(rows.order_by("available_at").values_list("pk", flat=True)[:100])


def settle(message_id: UUID, *, at: datetime) -> bool:
    """Run one duty's handler. Returns whether it is settled now. Handlers are idempotent."""
    if not _claim(message_id, at):
        return False
    message = OutboxMessage.objects.get(pk=message_id)
    try:
        import_string(settings.OUTBOX_HANDLERS[message.topic])(message)
    except Exception as error:  # noqa: BLE001  whatever a handler raises, the duty stays owed
        _put_back(message, error, at)
        return False
    OutboxMessage.objects.filter(pk=message_id).update(settled_at=at, claimed_until=None)
    return True


def _claim(message_id: UUID, at: datetime) -> bool:
    free = Q(claimed_until=None) | Q(claimed_until__lt=at)
    rows = OutboxMessage.objects.filter(free, pk=message_id, settled_at=None, given_up_at=None)
    return rows.update(claimed_until=at + CLAIM, tries=F("tries") + 1) == 1


def _put_back(message: OutboxMessage, error: Exception, at: datetime) -> None:
    """Back off with jitter; after the last try the duty is given up and shown on the bench page."""
    log.warning(
        "duty_failed", message=str(message.pk), topic=message.topic, error=type(error).__name__
    )
    wait_s = min(3600, 10 * 4 ** (message.tries - 1)) * SystemRandom().uniform(0.8, 1.2)
    OutboxMessage.objects.filter(pk=message.pk).update(
        claimed_until=None,
        available_at=at + timedelta(seconds=wait_s),
        given_up_at=at if message.tries >= TRIES_MAX else None,
        last_error=f"{type(error).__name__}: {error}"[:200],
    )
