"""Redis or the database away: what still works, what is said, and that it heals by itself."""

from __future__ import annotations

import shutil
import signal
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
import redis
from celery import current_app
from django.contrib.auth.models import User
from django.core.cache import caches
from django.db import InterfaceError, OperationalError, connection
from django.test import Client
from kombu.exceptions import OperationalError as BrokerAway

from deploy import caching
from inventory import outbox
from inventory.models import OutboxMessage
from returns.furniture import limits
from returns.models import Request
from tests.makers import NOON, Shop
from tests.returns.customer_makers import sent_back

NUDGE = outbox._nudge  # conftest puts a silent one in its place
pytestmark = pytest.mark.django_db


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def port(settings: Any, monkeypatch: pytest.MonkeyPatch) -> int:
    """Where our cache looks for Redis, and where nobody listens yet."""
    found = free_port()
    where = {"BACKEND": "deploy.caching.HealingCache", "LOCATION": f"redis://127.0.0.1:{found}/0"}
    settings.CACHES = {"default": where}
    monkeypatch.setattr(caching._Spell, "until", 0.0)
    caches["default"]._memory.clear()
    return found


@pytest.fixture
def server(port: int) -> Iterator[subprocess.Popen[bytes]]:
    program = shutil.which("redis-server")
    if program is None:
        pytest.skip("no redis-server here")
    command = [program, "--port", str(port), "--bind", "127.0.0.1", "--save", ""]
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        until(lambda: answers(port))
        yield process
    finally:
        process.send_signal(signal.SIGCONT)
        process.kill()
        process.wait()


def answers(port: int) -> bool:
    try:
        return bool(redis.Redis(port=port, socket_timeout=1).ping())
    except redis.RedisError:
        return False


def until(seen: Callable[[], bool]) -> None:
    for _look in range(100):
        if seen():
            return
        time.sleep(0.1)
    raise AssertionError("it never came")


def file_a_return(shop: Shop) -> None:
    sent_back(shop)
    assert Request.objects.count() == 1


def test_without_redis_pages_answer_and_a_filing_is_taken(
    client: Client, shop: Shop, olga: User, port: int
) -> None:
    for path in ("/", "/find/", "/ready/", "/ask/return/", "/api/models/"):
        assert client.get(path).status_code == 200, path
    client.force_login(olga)
    assert client.get("/desk/").status_code == 200
    file_a_return(shop)


def test_without_redis_limits_still_hold(port: int) -> None:
    fits = [limits.spend("find", "a stranger", most=2, span_s=3600) for _try in range(4)]
    assert fits == [True, True, False, False]
    assert limits.spend("find", "somebody else", most=2, span_s=3600)


def test_redis_that_is_back_is_used_again_by_itself(
    port: int, server: subprocess.Popen[bytes], monkeypatch: pytest.MonkeyPatch
) -> None:
    cache = caches["default"]
    cache.set("colour", "moss")
    server.send_signal(signal.SIGSTOP)
    before = time.monotonic()
    assert cache.get("colour") is None
    cache.set("colour", "sand")
    assert time.monotonic() - before < 4  # one look of twice a second, then Redis is left alone
    server.send_signal(signal.SIGCONT)
    monkeypatch.setattr(caching._Spell, "until", time.monotonic())
    until(lambda: cache.get("colour") == "moss")


def test_a_broker_that_is_away_is_left_alone_and_the_message_waits_in_the_database(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[str] = []

    def refuse(_name: str, args: tuple[str], **_facts: Any) -> None:
        asked.append(args[0])
        raise BrokerAway("away")

    monkeypatch.setattr(current_app, "send_task", refuse)
    monkeypatch.setattr(outbox._Broker, "left_alone_until", 0.0)
    message = outbox.enqueue(topic="letter", subject="Q", at=NOON)
    for _twice in range(2):
        NUDGE(message.pk, "letters")
    assert asked == [str(message.pk)]
    assert outbox.due(NOON) == [message.pk]
    monkeypatch.setattr(outbox._Broker, "left_alone_until", 0.0)
    NUDGE(message.pk, "letters")
    assert len(asked) == 2
    assert OutboxMessage.objects.count() == 1


@pytest.fixture
def stranger() -> Client:
    return Client(raise_request_exception=False)


@pytest.mark.parametrize("error", [OperationalError, InterfaceError])
@pytest.mark.parametrize("path", ["/", "/desk/", "/find/", "/bench/", "/admin/", "/enter/"])
def test_database_away_is_a_page_of_ours_that_says_when_to_come_back(
    stranger: Client, olga: User, error: type[Exception], path: str
) -> None:
    stranger.force_login(olga)
    with connection.execute_wrapper(_raising(error)):
        answer = stranger.get(path)
    assert answer.status_code == 503
    assert int(answer.headers["Retry-After"]) > 0
    assert "We cannot reach our books right now" in answer.content.decode()
    assert "Content-Security-Policy" in answer.headers


@pytest.mark.parametrize("path", ["/api/frames/", "/api/models/"])
def test_database_away_is_a_problem_document_in_the_api(
    stranger: Client, olga: User, path: str
) -> None:
    stranger.force_login(olga)
    with connection.execute_wrapper(_raising(OperationalError)):
        answer = stranger.get(path)
    assert answer.status_code == 503
    assert answer.headers["Content-Type"] == "application/problem+json"
    assert int(answer.headers["Retry-After"]) > 0


def test_any_other_failure_stays_a_500_of_ours(
    stranger: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    with connection.execute_wrapper(_raising(RuntimeError)):
        page, problem = stranger.get("/"), stranger.get("/api/models/")
    assert (page.status_code, problem.status_code) == (500, 500)
    assert "Something broke on our side" in page.content.decode()
    assert problem.headers["Content-Type"] == "application/problem+json"


def _raising(error: type[Exception]) -> Any:
    def wrapper(*_call: Any) -> None:
        raise error("away")

    return wrapper
