"""Alive, ready and health are three questions; figures are for who has the token."""

from __future__ import annotations

import shutil
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.db import OperationalError, connection
from django.test import Client
from prometheus_client.parser import text_string_to_metric_families

from deploy import health as probes
from inventory import events, outbox
from inventory.models import OutboxMessage
from inventory.running.pages import notes
from inventory.running.queries import health
from tests.makers import NOON, key

pytestmark = pytest.mark.django_db
TOKEN = "a-monitor-with-a-long-token"


@pytest.fixture
def monitor(settings: Any) -> Client:
    settings.MONITOR_TOKEN = TOKEN
    return Client(headers={"Authorization": f"Bearer {TOKEN}"})


def late(at_s: int) -> OutboxMessage:
    waits = timedelta(seconds=at_s)
    return outbox.enqueue(topic="letter", subject="Q", at=NOON - waits)


def well(code: str) -> bool:
    return {check.code: check.is_well for check in health.checks(NOON)}[code]


def test_a_late_worker_leaves_the_web_ready_and_is_told_by_health(monitor: Client) -> None:
    late(601)
    assert monitor.get("/ready/").status_code == 200
    with time_machine.travel(NOON, tick=False):
        answer = monitor.get("/health/")
    assert answer.status_code == 503
    assert answer.json()["checks"]["worker"] == {"well": False, "seen": 601, "unit": "s"}


@pytest.mark.parametrize(("waits_s", "is_well"), [(599, True), (600, True), (601, False)])
def test_worker_is_late_after_ten_minutes(waits_s: int, is_well: bool) -> None:
    late(waits_s)
    assert well("worker") is is_well


def test_what_is_given_up_is_no_work_of_the_worker_and_still_not_well() -> None:
    OutboxMessage.objects.filter(pk=late(9999).pk).update(given_up_at=NOON)
    assert well("worker")
    assert not well("given-up")


def test_a_database_that_is_away_is_not_ready(monkeypatch: pytest.MonkeyPatch) -> None:
    def away() -> None:
        raise OperationalError("away")

    monkeypatch.setattr(connection, "cursor", away)
    answer = Client().get("/ready/")
    assert (answer.status_code, answer.json()["database"]) == (503, False)


def test_code_that_is_newer_than_its_tables_is_not_ready(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    probes._once_migrated.cache_clear()
    monkeypatch.setattr(probes.MigrationExecutor, "migration_plan", lambda *_all: ["one"])
    assert Client().get("/ready/").status_code == 503
    monkeypatch.undo()
    assert Client().get("/ready/").status_code == 200


@pytest.mark.parametrize("free", [health.DISK_FREE_MIN_BYTES - 1, health.DISK_FREE_MIN_BYTES])
def test_a_full_disk_is_told_to_the_owner(free: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shutil, "disk_usage", lambda _place: shutil._ntuple_diskusage(9, 9, free))
    is_told = any(note.is_alarm and "disk" in note.text for note in notes(NOON))
    assert is_told is (free < health.DISK_FREE_MIN_BYTES)


@pytest.mark.parametrize(("ahead_s", "is_well"), [(60, True), (61, False)])
def test_a_clock_that_was_set_back_is_seen(ahead_s: int, is_well: bool, olga: User) -> None:
    moment = NOON + timedelta(seconds=ahead_s)
    events.record(key=key(), name="test", subject="x", facts=[], at=moment, actor=olga)
    assert well("clock") is is_well


@pytest.mark.parametrize("path", ["/health/", "/metrics/"])
def test_strangers_and_wrong_tokens_are_sent_to_sign_in(
    path: str, settings: Any, olga: User
) -> None:
    for token in ("", TOKEN):
        settings.MONITOR_TOKEN = token
        for sent in ({}, {"Authorization": "Bearer "}, {"Authorization": "Bearer wörong"}):
            assert Client(headers=sent).get(path).status_code == 302
    owner = Client()
    owner.force_login(olga)
    assert owner.get(path).status_code in {200, 503}


def test_metrics_count_requests_messages_and_postings(monitor: Client, settings: Any) -> None:
    settings.OUTBOX_HANDLERS = {"letter": "tests.deploy.test_health._settled"}
    outbox.settle(late(30).pk, at=NOON)
    late(45)
    monitor.get("/alive/")
    told = monitor.get("/metrics/").content.decode()
    samples = {
        (sample.name, *sorted(sample.labels.values())): sample.value
        for family in text_string_to_metric_families(told)
        for sample in family.samples
    }
    assert samples["hingeback_request_seconds_count", "2xx", "GET", "alive"] >= 1
    assert samples["hingeback_message_seconds_count", "letter", "settled"] >= 1
    assert samples["hingeback_messages_waiting", "letter"] == 1
    assert samples["hingeback_oldest_message_seconds", "letter"] == pytest.approx(45, abs=5)
    assert samples["hingeback_last_posting",] == 0
    assert samples["hingeback_check_well", "worker"] == 1


def _settled(_message: OutboxMessage) -> None:
    """A letter that went out."""
