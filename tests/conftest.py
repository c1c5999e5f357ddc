"""Fixtures that every test may use. Named people: Bea (bench), Acke (accountant), Olga (owner)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.core.cache import cache

from inventory import triggers
from tests import makers


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQLite tests use a file, as the service does: threads then meet real locks.

    The suffix fixture gives each worker a PostgreSQL database of its own.
    """
    default = settings.DATABASES["default"]
    if default["ENGINE"].endswith("sqlite3"):
        folder = tmp_path_factory.mktemp("database")
        default.setdefault("TEST", {})["NAME"] = str(folder / "test.sqlite3")


@pytest.fixture(autouse=True)
def _own_data_dir(tmp_path: Any, settings: Any) -> None:
    settings.MEDIA_ROOT = tmp_path / "media"
    settings.DATA_DIR = tmp_path
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    cache.clear()


@pytest.fixture(autouse=True)
def _eager_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """No broker in unit tests: the nudge is dropped; a test settles duties by hand."""
    monkeypatch.setattr("inventory.outbox._nudge", lambda _duty_id: None)


@pytest.fixture(autouse=True)
def _triggers_yield_to_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    """A transactional test ends with a flush, which the append-only triggers would refuse."""
    wants = {"transactional_db", "live_server", "django_db_serialized_rollback"}
    marker = request.node.get_closest_marker("django_db")
    transactional = bool(marker and marker.kwargs.get("transaction"))
    if not transactional and not wants & set(request.fixturenames):
        yield
        return
    request.getfixturevalue("transactional_db")
    from django.db import connection

    makers.roles()
    triggers.install(connection)
    yield
    triggers.remove(connection)


@pytest.fixture
def bea(db: None) -> User:
    return makers.user("bea", "bench")


@pytest.fixture
def ben(db: None) -> User:
    """The second bench hand: confirms what Bea proposes."""
    return makers.user("ben", "bench")


@pytest.fixture
def acke(db: None) -> User:
    return makers.user("acke", "accountant")


@pytest.fixture
def olga(db: None) -> User:
    return makers.user("olga", "owner")


@pytest.fixture
def shop(db: None) -> makers.Shop:
    """A small furnished workshop: one model in two colours, its parts, scales and remedies."""
    return makers.shop()


assert settings.configured
