"""The outbox: what wakes the worker, and the moments that its caller gives."""

from __future__ import annotations

import time
from datetime import timedelta
from typing import Any

import pytest
from celery import current_app
from django.conf import settings as set_here

from inventory import outbox, tasks
from inventory.models import OutboxMessage
from tests.makers import NOON

pytestmark = pytest.mark.django_db

NUDGE = outbox._nudge  # the suite drops the nudge; this is the real one


def _handle(_message: OutboxMessage) -> None:
    """Does what was owed."""


def _fail(_message: OutboxMessage) -> None:
    raise OSError("away")


def owed(settings: Any, handler: str, **facts: Any) -> OutboxMessage:
    settings.OUTBOX_HANDLERS = {"test": f"tests.inventory.test_outbox.{handler}"}
    message = outbox.enqueue(topic="test", subject="x", at=NOON)
    OutboxMessage.objects.filter(pk=message.pk).update(**facts)
    return message


def test_nudge_sends_the_worker_a_task_that_it_has(
    settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[Any] = []
    monkeypatch.setattr(current_app, "send_task", lambda *args, **_how: sent.append(args))
    message = owed(settings, "_handle")
    NUDGE(message.pk, "letters")
    assert sent == [(tasks.settle_message.name, (str(message.pk),))]
    assert outbox.SETTLE in current_app.tasks


def test_settled_at_the_moment_that_the_caller_read(settings: Any) -> None:
    message = owed(settings, "_handle")
    assert outbox.settle(message.pk, at=NOON + timedelta(hours=3))
    message.refresh_from_db()
    assert message.settled_at == NOON + timedelta(hours=3)
    assert message.claimed_until is None


@pytest.mark.parametrize(
    ("tries", "wait_s", "gives_up"),
    [(0, 10, False), (outbox.TRIES_MAX - 2, 3600, False), (outbox.TRIES_MAX - 1, 3600, True)],
)
def test_failure_waits_from_the_moment_that_the_caller_read(
    settings: Any, tries: int, wait_s: int, gives_up: bool
) -> None:
    at = NOON + timedelta(hours=3)
    message = owed(settings, "_fail", tries=tries)
    assert not outbox.settle(message.pk, at=at)
    message.refresh_from_db()
    waits_s = (message.available_at - at).total_seconds()
    assert 0.8 * wait_s <= waits_s <= 1.2 * wait_s
    assert message.given_up_at == (at if gives_up else None)


def test_claim_holds_until_its_time_is_over(settings: Any) -> None:
    message = owed(settings, "_handle", claimed_until=NOON + outbox.LEASE)
    assert not outbox.settle(message.pk, at=NOON + outbox.LEASE)
    assert outbox.settle(message.pk, at=NOON + outbox.LEASE + timedelta(seconds=1))


def _slow(message: OutboxMessage) -> None:
    """Works until its lease was renewed from beside it."""
    for _look in range(200):
        message.refresh_from_db()
        assert message.claimed_until is not None
        if message.claimed_until > NOON + outbox.LEASE:
            return
        time.sleep(0.05)
    raise AssertionError("the lease was not renewed")


@pytest.mark.both
@pytest.mark.django_db(transaction=True)
def test_lease_is_renewed_while_the_handler_works(
    settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outbox, "_RENEWED_EVERY_S", 0.05)
    monkeypatch.setattr(outbox.timezone, "now", lambda: NOON + timedelta(seconds=40))
    message = owed(settings, "_slow")
    assert outbox.settle(message.pk, at=NOON)
    message.refresh_from_db()
    assert message.claimed_until is None


def test_each_message_is_due_in_the_queue_of_its_topic_and_in_no_other() -> None:
    topics = ("letter", "report.pdf", "something-new")
    made = {topic: outbox.enqueue(topic=topic, subject="x", at=NOON).pk for topic in topics}
    queues = {queue.name for queue in set_here.CELERY_TASK_QUEUES}
    found = {queue: outbox.due(NOON, queue=queue) for queue in queues}
    assert found == {
        "letters": [made["letter"]],
        "documents": [made["report.pdf"]],
        "figures": [made["something-new"]],
    }
    assert {outbox.queue_of(topic) for topic in topics} == queues


def test_every_queue_is_swept() -> None:
    swept = [
        entry["args"][0]
        for entry in set_here.CELERY_BEAT_SCHEDULE.values()
        if entry["task"] == tasks.sweep_outbox.name
    ]
    assert sorted(swept) == sorted(queue.name for queue in set_here.CELERY_TASK_QUEUES)
