"""A backup opens, is whole, and proves itself in the way that deploy/README.md tells."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from pathlib import Path
from urllib.parse import quote

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection, transaction

from inventory.months import rules as months
from inventory.months.queries import audit
from tests.inventory.month_makers import NOV, furnished_october
from tests.makers import Shop, key

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]


@contextmanager
def restored(copy: Path) -> Iterator[str]:
    """The address of a database that holds the copy."""
    if connection.vendor == "sqlite":
        yield f"sqlite:///{copy}"
        return
    facts = connection.settings_dict
    name = f"{facts['NAME']}_restored"
    who = ["--host", facts["HOST"], "--port", str(facts["PORT"] or 5432), "-U", facts["USER"]]
    subprocess.run(["createdb", *who, name], check=True)
    try:
        restore = ["pg_restore", *who, "--no-owner", "--exit-on-error", "--dbname", name, str(copy)]
        subprocess.run(restore, check=True)
        person = f"{facts['USER']}:{quote(facts['PASSWORD'])}"
        yield f"postgresql://{person}@{facts['HOST']}:{facts['PORT'] or 5432}/{name}"
    finally:
        subprocess.run(["dropdb", *who, name], check=True)


def manage(database: str, *command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=settings.BASE_DIR,
        env={**os.environ, "HINGEBACK_DATABASE_URL": database},
        capture_output=True,
        text=True,
        check=False,
    )


def backup(to: Path) -> None:
    call_command("backup", to=to, stdout=StringIO())


@pytest.fixture
def books(shop: Shop) -> None:
    furnished_october(shop)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=NOV, by=None)


SPOIL = """
from django.db import connection
from inventory import triggers
from inventory.models import Posting
triggers.remove(connection)
connection.cursor().execute("UPDATE inventory_posting SET quantity = quantity + 1")
triggers.install(connection)
"""


@pytest.mark.usefixtures("books")
def test_restored_copy_passes_every_check_with_as_many_rows_and_a_spoilt_one_does_not(
    tmp_path: Path,
) -> None:
    backup(tmp_path / "monday")
    with restored(tmp_path / "monday") as database:
        proof = manage(database, "checkledger")
        assert proof.returncode == 0, proof.stderr
        assert proof.stdout.splitlines() == [str(found) for found in audit.check()]
        assert manage(database, "shell", "-v0", "-c", SPOIL).returncode == 0
        assert manage(database, "checkledger").returncode == 1


def test_only_its_maker_may_read_a_copy(shop: Shop, tmp_path: Path) -> None:
    backup(tmp_path / "monday")
    assert (tmp_path / "monday").stat().st_mode & 0o077 == 0


def test_a_file_that_is_there_is_never_written_over(tmp_path: Path) -> None:
    (tmp_path / "monday").write_text("of last week")
    with pytest.raises(CommandError, match="exists already"):
        backup(tmp_path / "monday")
    assert (tmp_path / "monday").read_text() == "of last week"


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="No such file or directory"):
        backup(tmp_path / "nowhere" / "monday")


def test_a_copy_that_fails_leaves_nothing_that_looks_like_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite copies nothing out of an open transaction; without its client nor does PostgreSQL."""
    monkeypatch.setenv("PATH", str(tmp_path))
    with transaction.atomic(), pytest.raises(CommandError, match=r"not finished|no pg_dump"):
        backup(tmp_path / "monday")
    assert not (tmp_path / "monday").exists()
