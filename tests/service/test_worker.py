"""A real worker over a real broker settles messages; a wiped broker loses none."""

from __future__ import annotations

import os
from pathlib import Path
from uuid import UUID

import pytest
import redis
from django.db import connection
from django.utils import timezone
from kombu import Connection

from inventory import outbox
from inventory.models import OutboxMessage
from inventory.tasks import settle_message
from returns.customers.rules import Contact
from returns.filing.rules import intake
from returns.filing.rules.intake import Filing
from tests import makers
from tests.service.worker import running, wait_for

pytestmark = [
    pytest.mark.service,
    pytest.mark.django_db(transaction=True),
    pytest.mark.xdist_group("redis"),
]

REDIS_URL = os.environ.get("HINGEBACK_TEST_REDIS_URL", "redis://127.0.0.1:6379/15")


def file_a_return(shop: makers.Shop) -> None:
    contact = Contact(
        "Ada Priel", "ada@example.org", "Deichstieg 3", "", "24999", "Saltmarsh", "", "DE"
    )
    filing = Filing(
        colourway=shop.avocet_slate,
        component="front",
        defect="snapped",
        note="",
        wish="regrind",
        lenses_back=False,
        notice_version="1",
        contact=contact,
    )
    intake.file_return(key=makers.key(), filing=filing, at=makers.NOON)


def all_settled() -> bool:
    connection.close()
    return (
        OutboxMessage.objects.exists()
        and not OutboxMessage.objects.filter(settled_at=None).exists()
    )


def test_letter_goes_out_through_redis(
    tmp_path: Path, shop: makers.Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The nudge alone does it: this worker's beat does not sweep within the hour."""
    redis.Redis.from_url(REDIS_URL).flushdb()

    def nudge(message_id: UUID, queue: str) -> None:
        with Connection(REDIS_URL) as broker:
            settle_message.apply_async((str(message_id),), connection=broker, queue=queue)

    monkeypatch.setattr(outbox, "_nudge", nudge)
    with running(tmp_path, REDIS_URL, sweep_s=3600):
        file_a_return(shop)
        wait_for(all_settled, tmp_path / "worker.log")
    letters = list((tmp_path / "mail").glob("*"))
    assert len(letters) == 1
    assert "ada@example.org" in letters[0].read_text()


def test_wiped_broker_loses_no_letter(tmp_path: Path, shop: makers.Shop) -> None:
    file_a_return(shop)
    redis.Redis.from_url(REDIS_URL).flushdb()
    with running(tmp_path, REDIS_URL):
        wait_for(all_settled, tmp_path / "worker.log")
    assert len(list((tmp_path / "mail").glob("*"))) == 1


def test_duty_of_a_killed_worker_is_taken_over(tmp_path: Path, shop: makers.Shop) -> None:
    file_a_return(shop)
    message = OutboxMessage.objects.get()
    # A worker that died holding the claim leaves exactly this row behind.
    OutboxMessage.objects.filter(pk=message.pk).update(claimed_until=makers.NOON, tries=1)
    with running(tmp_path, REDIS_URL):
        wait_for(all_settled, tmp_path / "worker.log")
    assert OutboxMessage.objects.get().tries == 2
    assert outbox.settle(message.pk, at=timezone.now()) is False
