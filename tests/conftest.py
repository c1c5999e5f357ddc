"""Fixtures that every test may use. Named people: Bea (bench), Acke (accountant), Olga (owner)."""

from __future__ import annotations

import os
from collections.abc import Iterator
from itertools import count
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.apps import apps
from django.conf import settings
from django.contrib.auth.models import Group, Permission, User
from django.core.cache import cache
from django.db import connection
from django.db.models.signals import post_migrate
from hypothesis import HealthCheck
from hypothesis import settings as examples

from inventory import triggers
from returns.setup.rules import ownerrights
from tests import furnished, makers, template

# A shared machine may stall: how long an example took says nothing of the code.
UNHURRIED: dict[str, Any] = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow]}
# Thirty are enough by day: planted faults (tests/mutants.py) are looked for with as many. While
# somebody works, ten tell whether a change is far off; each run draws others.
examples.register_profile("few", max_examples=10, **UNHURRIED)
examples.register_profile("quick", max_examples=30, **UNHURRIED)
examples.register_profile("thorough", max_examples=300, **UNHURRIED)
examples.load_profile(os.environ.get("HYPOTHESIS_PROFILE", "quick"))

# Tests that go in by a page, an address, a file or a process prove what the database has no say in,
# and what it has a say in is proven below them: those of these folders, and whoever asks a client.
EDGES = {"access", "api", "benchmarks", "browser", "callers", "deploy", "docs", "service"}


@pytest.fixture(scope="session")
def django_db_modify_db_settings(
    django_db_modify_db_settings_parallel_suffix: None, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """SQLite tests use a file, as the service does: threads then meet real locks.

    The suffix fixture gives each worker a PostgreSQL database of its own. What is thrown away
    afterwards need not be on the disk before the next test begins.
    """
    default = settings.DATABASES["default"]
    if default["ENGINE"].endswith("postgresql"):
        default["OPTIONS"]["options"] += " -c synchronous_commit=off"
    if default["ENGINE"].endswith("sqlite3"):
        folder = tmp_path_factory.mktemp("database")
        default.setdefault("TEST", {})["NAME"] = str(folder / "test.sqlite3")


@pytest.fixture(scope="session")
def django_db_setup(
    request: pytest.FixtureRequest,
    django_test_environment: None,
    django_db_blocker: Any,
    django_db_modify_db_settings: None,
) -> Iterator[None]:
    """The test database: a copy of a migrated one that is kept."""
    with django_db_blocker.unblock():
        creation = connection.creation
        before = connection.settings_dict["NAME"]

        def migrate() -> None:
            creation.create_test_db(verbosity=0, autoclobber=True, serialize=False)

        folder = request.config.cache.mkdir("database")
        if connection.vendor == "sqlite":
            target = settings.DATABASES["default"]["TEST"]["NAME"]
            template.copied(folder, Path(target), migrate)
        else:
            target = creation._get_test_db_name()
            template.cloned(folder, target, migrate)
        connection.close()
        settings.DATABASES["default"]["NAME"] = target
        connection.settings_dict["NAME"] = target
    yield
    with django_db_blocker.unblock():
        creation.destroy_test_db(before, verbosity=0)


@pytest.fixture(scope="session")
def migrated(
    request: pytest.FixtureRequest, django_db_setup: None, tmp_path_factory: pytest.TempPathFactory
) -> Path:
    """A migrated, empty SQLite database to copy for a process that a test starts."""
    made = tmp_path_factory.mktemp("migrated") / "hingeback.sqlite3"

    def migrate() -> None:
        raise AssertionError("django_db_setup keeps one")

    template.copied(request.config.cache.mkdir("database"), made, migrate)
    return made


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--long", action="store_true", help="also run what takes many minutes")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what need run on one database only, and leave out what takes too long for every run.

    A test that asks no database says the same on each; an edge adds nothing to the database's part.
    """
    if not config.getoption("--long"):
        long = [item for item in items if item.get_closest_marker("long")]
        config.hook.pytest_deselected(items=long)
        items[:] = [item for item in items if item not in long]
    asks = {"db", "transactional_db", "live_server"}
    for item in items:
        fixtures = set(getattr(item, "fixturenames", ()))
        if not fixtures & asks and not item.get_closest_marker("django_db"):
            item.add_marker("pure")
        elif item.get_closest_marker("both"):
            continue
        elif "client" in fixtures or EDGES & set(item.path.relative_to(template.ROOT).parts):
            item.add_marker("edge")
        elif _is_further_case(item):
            item.add_marker("further")
    # The long ones first: a walk of minutes that begins last leaves the other core idle.
    items.sort(key=_turn)


def _is_further_case(item: pytest.Item) -> bool:
    """A later row of a table of facts asks the database what the first row asked it already.

    What the database itself refuses, and all of the inventory, is tried with every row.
    """
    cases = getattr(item, "callspec", None)
    code = getattr(item, "function", _is_further_case).__code__
    is_of_returns = item.path.is_relative_to(template.ROOT / "tests/returns")
    is_refused_below = "IntegrityError" in code.co_names
    return bool(is_of_returns and not is_refused_below and cases and any(cases.indices.values()))


def _turn(item: pytest.Item) -> int:
    """A test with a time limit of its own is such a walk; what waits for a process comes next."""
    turns = ("timeout", "browser", "service")
    return next((turn for turn, name in enumerate(turns) if item.get_closest_marker(name)), 3)


if os.environ.get("CI", "").lower() == "true":

    def pytest_itemcollected(item: pytest.Item) -> None:
        """What waits for another process gets a second try on the build machine, told as a rerun.

        The machine is shared: a browser that stalls there says nothing of the code. A test that
        fails twice fails.
        """
        if item.get_closest_marker("browser") or item.get_closest_marker("service"):
            item.add_marker(pytest.mark.flaky(reruns=1))


@pytest.fixture(autouse=True)
def _october() -> Iterator[None]:
    """The clock starts at the noon on which the builders furnish the workshop, every day anew.

    On the real clock a test would pass until what it furnished has grown old.
    """
    with time_machine.travel(makers.NOON, tick=True):
        yield


@pytest.fixture(scope="session")
def data_dirs(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    """Where each next test keeps its files: pytest's own folder costs ten times as much to make."""
    folder = tmp_path_factory.mktemp("data")
    return (folder / str(number) for number in count())


@pytest.fixture(autouse=True)
def _own_data_dir(data_dirs: Iterator[Path], settings: Any) -> None:
    folder = next(data_dirs)
    folder.mkdir()
    settings.MEDIA_ROOT = folder / "media"
    settings.DATA_DIR = folder
    settings.COPIES_DIR = folder / "backups"
    settings.MAIL_GOES_OUT = True
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    # Else each test client lists every static file anew, a fifth of the time of a page's test.
    settings.WHITENOISE_AUTOREFRESH = True
    cache.clear()


@pytest.fixture(autouse=True)
def _eager_worker(monkeypatch: pytest.MonkeyPatch) -> None:
    """No broker in unit tests: the nudge is dropped; a test settles messages by hand."""
    monkeypatch.setattr("inventory.outbox._nudge", lambda *_message: None)


@pytest.fixture(autouse=True)
def _triggers_yield_to_flush(request: pytest.FixtureRequest) -> Iterator[None]:
    """A transactional test ends with a flush, which the append-only triggers would refuse.

    Another test may come after it in this process, so the flush's end puts everything back.
    """
    wants = {"transactional_db", "live_server", "django_db_serialized_rollback"}
    marker = request.node.get_closest_marker("django_db")
    transactional = bool(marker and marker.kwargs.get("transaction"))
    if not transactional and not wants & set(request.fixturenames):
        yield
        return
    request.getfixturevalue("transactional_db")
    post_migrate.connect(_as_migrated, sender=apps.get_app_config("returns"))
    yield
    triggers.remove(connection)


def _as_migrated(**_about: Any) -> None:
    """A flush tells of its end as the migrations do: write again what it took, and the triggers."""
    triggers.install(connection)
    for name in ("bench", "accountant", "owner"):
        Group.objects.get_or_create(name=name)
    ownerrights.grant(Group, Permission)


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
    return _shop()


# Made by the rules once in each process: a third of the tests' time went into its making.
_shop = furnished.once(makers.shop)


assert settings.configured
