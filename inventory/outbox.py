"""Messages of what must still happen: written with the fact, settled by the worker or the sweep.

At least once, never lost: the row is the record, the broker only wakes the worker up.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime, timedelta
from functools import partial
from itertools import count
from random import SystemRandom
from typing import TYPE_CHECKING, Any
from uuid import UUID

import structlog
from celery import current_app
from django.conf import settings
from django.db import Error, connection, transaction
from django.db.models import Case, F, Q, When
from django.utils import timezone
from django.utils.module_loading import import_string
from prometheus_client import Histogram

from inventory import events
from inventory.events import Draft
from inventory.models import OutboxMessage

if TYPE_CHECKING:
    from django.contrib.auth.models import User

_hushed: ContextVar[bool] = ContextVar("hushed", default=False)

SETTLE = "inventory.tasks.settle_message"
"""The worker's task for one row, by name: the worker stands on the outbox, not the other way."""
# A mail server that is away may be away for days: RFC 5321 (2008), 4.5.4.1 wants a sender to go on
# for four to five.
PATIENCE = timedelta(days=5)
_WAIT_MAX_S = 3600
# A claim is a lease, renewed while its handler runs: what a killed worker held is free after this
# and one sweep.
LEASE = timedelta(seconds=60)
_RENEWED_EVERY_S = 20
# A handler that runs out of memory takes its worker with it, and would do so for ever.
LOST_MAX = 5
_LEFT_ALONE_S = 20
_NUDGED_MAX = 20  # the sweep takes the rest

_HANDLED_SECONDS = Histogram(
    "hingeback_message_seconds",
    "Seconds that a try of a message took, a report's PDF among them, by topic and outcome.",
    ["topic", "outcome"],
    buckets=(0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0),
)

log = structlog.get_logger(__name__)


def wait_s(tries: int) -> int:
    """Return the least seconds to wait after so many tries: ten, four times that, then hourly."""
    return int(min(_WAIT_MAX_S, 10 * 4 ** min(tries - 1, 9)))


# So many tries take the whole of the patience, even without the jitter.
TRIES_MAX = next(
    most
    for most in count(2)
    if sum(wait_s(tries) for tries in range(1, most)) >= PATIENCE.total_seconds()
)


def enqueue(
    *,
    topic: str,
    subject: str,
    at: datetime,
    payload: dict[str, Any] | None = None,
    wait: timedelta = timedelta(0),
) -> OutboxMessage:
    """Write a message in the caller's transaction and nudge the worker once that commits.

    `payload` holds codes and ids only, for messages are kept. One that waits is left to the sweep,
    which finds it when its time has come.
    """
    message = OutboxMessage(
        topic=topic,
        subject=subject,
        payload=payload or {},
        created_at=at,
        available_at=at + wait,
    )
    if _hushed.get():
        message.settled_at = at
    message.save(force_insert=True)
    if message.settled_at is None and not wait:
        # After the commit, else the worker may look before the row is there. Robust: a nudge that
        # fails must not fail what was done.
        transaction.on_commit(lambda: _nudge(message.pk, queue_of(topic)), robust=True)
    return message


@contextmanager
def hushed() -> Iterator[None]:
    """Settle at once every message written inside: a story of the past posts no letters."""
    token = _hushed.set(True)
    try:
        yield
    finally:
        _hushed.reset(token)


def queue_of(topic: str) -> str:
    """Return the queue whose worker settles messages of this topic."""
    queue: str = settings.OUTBOX_QUEUES.get(topic, settings.CELERY_TASK_DEFAULT_QUEUE)
    return queue


def _nudge(message_id: UUID, queue: str) -> None:
    """Best effort: a broker that is away costs nothing but the wait for the next sweep."""
    if time.monotonic() < _Broker.left_alone_until:
        return
    try:
        current_app.send_task(
            SETTLE, (str(message_id),), queue=queue, retry=False, ignore_result=True
        )
    except Exception as error:  # noqa: BLE001  whatever a broker raises, the row is written
        _Broker.left_alone_until = time.monotonic() + _LEFT_ALONE_S
        log.warning("broker_away", error=type(error).__name__)


class _Broker:
    """Until when this process leaves a broker alone that did not answer. The sweep fills in."""

    left_alone_until = 0.0


def due(at: datetime, *, queue: str = "") -> list[UUID]:
    """Return the ids of the oldest hundred messages that are due and that nobody holds.

    Only those of `queue`, when one is named.
    """
    rows = OutboxMessage.objects.filter(settled_at=None, given_up_at=None, available_at__lte=at)
    # A claim that has run out belonged to a worker that died with it.
    rows = rows.filter(Q(claimed_until=None) | Q(claimed_until__lt=at))
    if queue:
        rows = rows.filter(_of_queue(queue))
    return list(rows.order_by("available_at").values_list("pk", flat=True)[:100])


def _of_queue(queue: str) -> Q:
    """The topics of this queue; the default one has all that are sent nowhere else."""
    if queue == settings.CELERY_TASK_DEFAULT_QUEUE:
        return ~Q(topic__in=[topic for topic in settings.OUTBOX_QUEUES if queue_of(topic) != queue])
    return Q(topic__in=[topic for topic in settings.OUTBOX_QUEUES if queue_of(topic) == queue])


def settle(message_id: UUID, *, at: datetime) -> bool:
    """Run the handler of one message. Returns whether it is settled now.

    Handlers are idempotent: a worker that dies after the action and before the last line here runs
    the same message again.
    """
    # Broker and sweep may hand out the same message twice; one claim wins, the other is no error.
    if not _claim(message_id, at):
        return False
    message = OutboxMessage.objects.get(pk=message_id)
    # Counted with the claim and not after the handler: one that kills its worker each time comes to
    # an end too.
    if message.tries > TRIES_MAX or message.lost >= LOST_MAX:
        _put_back(message, Unanswered("every try ended with its worker"), at)
        return False
    begun, outcome = time.perf_counter(), "failed"
    try:
        # Outside a transaction: a handler sends mail or draws a report, and no row should be locked
        # for so long.
        with _renewed(message_id):
            import_string(settings.OUTBOX_HANDLERS[message.topic])(message)
        outcome = "settled"
    except Exception as error:  # noqa: BLE001  whatever a handler raises, the message stays
        _put_back(message, error, at)
        return False
    finally:
        seconds = time.perf_counter() - begun
        _HANDLED_SECONDS.labels(message.topic, outcome).observe(seconds)
    OutboxMessage.objects.filter(pk=message_id).update(settled_at=at, claimed_until=None)
    return True


@contextmanager
def _renewed(message_id: UUID) -> Iterator[None]:
    """Renew the lease of a message from beside its handler, for as long as this process lives."""
    over = threading.Event()
    thread = threading.Thread(target=_renew, args=(message_id, over), daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def _renew(message_id: UUID, over: threading.Event) -> None:
    while not over.wait(_RENEWED_EVERY_S):
        try:
            held = OutboxMessage.objects.filter(pk=message_id).exclude(claimed_until=None)
            held.update(claimed_until=timezone.now() + LEASE)
        except Error as error:
            # The handler goes on; at worst another worker does the same once more.
            log.warning("lease_not_renewed", error=type(error).__name__)
        finally:
            # A thread has a connection of its own, which nobody else would close.
            connection.close()


class Unanswered(Exception):
    """Tries that ended without a word: the worker was killed in each of them."""


def _wanted(messages: Collection[UUID]) -> list[str]:
    return sorted(str(message) for message in messages)


@events.rule("outbox.try_again", facts=_wanted, again=lambda: 0)
def try_again(
    event: Draft, /, *, key: UUID, messages: Collection[UUID], at: datetime, by: User
) -> int:
    """Try these messages at once, with all their tries before them. Returns how many wait now.

    One that is settled, or in a worker's hands, is left alone.
    """
    wanted = _wanted(messages)
    free = Q(claimed_until=None) | Q(claimed_until__lt=at)
    rows = OutboxMessage.objects.filter(free, pk__in=wanted, settled_at=None)
    found = list(rows.values_list("pk", "topic"))
    rows.update(given_up_at=None, tries=0, lost=0, available_at=at)
    event.of("outbox", messages=len(found))
    for message, topic in found[:_NUDGED_MAX]:
        transaction.on_commit(partial(_nudge, message, queue_of(topic)), robust=True)
    return len(found)


def _claim(message_id: UUID, at: datetime) -> bool:
    # Read and written in one UPDATE: a lock that works on SQLite and PostgreSQL alike.
    free = Q(claimed_until=None) | Q(claimed_until__lt=at)
    rows = OutboxMessage.objects.filter(free, pk=message_id, settled_at=None, given_up_at=None)
    # A claim that stands and has run out is one whose worker never answered.
    lost = Case(When(claimed_until=None, then=F("lost")), default=F("lost") + 1)
    return rows.update(claimed_until=at + LEASE, tries=F("tries") + 1, lost=lost) == 1


def _put_back(message: OutboxMessage, error: Exception, at: datetime) -> None:
    """Back off with jitter. After the last try it is given up, which the owner's desk shows."""
    log.warning(
        "outbox_message_failed",
        message=str(message.pk),
        topic=message.topic,
        error=type(error).__name__,
    )
    is_over = message.tries >= TRIES_MAX or isinstance(error, Unanswered)
    # Up to a fifth longer, so that messages which failed together do not all come back together.
    seconds = wait_s(message.tries) * SystemRandom().uniform(1.0, 1.2)
    OutboxMessage.objects.filter(pk=message.pk).update(
        claimed_until=None,
        available_at=at + timedelta(seconds=seconds),
        given_up_at=at if is_over else None,
        # Cut short, and without the traceback: an error's text is kept for good and shown to the
        # owner.
        last_error=f"{type(error).__name__}: {error}"[:200],
    )
