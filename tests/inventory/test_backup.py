"""A copy is the whole workshop in one file, proves itself, and opens on a new machine."""

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
import time_machine
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import connection

from deploy import copies
from inventory import triggers
from inventory.models import Workshop
from inventory.months import rules as months
from inventory.months.queries import audit
from inventory.running.queries import copies as kept
from tests.inventory.month_makers import NOV, furnished_october
from tests.makers import NOON, Shop, key

pytestmark = [pytest.mark.django_db(transaction=True), pytest.mark.slow]
KEY = "k" * 50


@contextmanager
def new_machine(tmp_path: Path) -> Iterator[dict[str, str]]:
    """The environment of an installation that holds nothing yet."""
    env = {"HINGEBACK_DATA_DIR": str(tmp_path / "new"), "HINGEBACK_DATABASE_URL": ""}
    if connection.vendor == "sqlite":
        del env["HINGEBACK_DATABASE_URL"]
        yield env
        return
    facts = connection.settings_dict
    name = f"{facts['NAME']}_restored"
    who = ["--host", facts["HOST"], "--port", str(facts["PORT"] or 5432), "-U", facts["USER"]]
    subprocess.run(["createdb", *who, name], check=True)
    person = f"{facts['USER']}:{quote(facts['PASSWORD'])}"
    address = f"postgresql://{person}@{facts['HOST']}:{facts['PORT'] or 5432}/{name}"
    try:
        yield {**env, "HINGEBACK_DATABASE_URL": address}
    finally:
        subprocess.run(["dropdb", *who, name], check=True)


def manage(env: dict[str, str], *command: str) -> subprocess.CompletedProcess[str]:
    here = {name: text for name, text in os.environ.items() if not name.startswith("HINGEBACK_")}
    return subprocess.run(
        [sys.executable, "manage.py", *command],
        cwd=settings.BASE_DIR,
        env=here | env,
        capture_output=True,
        text=True,
        check=False,
    )


def backup(to: Path | None = None) -> str:
    data = StringIO()
    call_command("backup", to=to, stdout=data)
    return data.getvalue()


@pytest.fixture
def books(shop: Shop) -> None:
    furnished_october(shop)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=NOV, by=None)


@pytest.fixture
def _files(settings: object) -> None:
    for name in ("media/photos/a.jpg", "reports/2026-10.pdf"):
        path = Path(str(settings.DATA_DIR)) / name  # type: ignore[attr-defined]
        path.parent.mkdir(parents=True)
        path.write_bytes(name.encode())


@pytest.mark.usefixtures("books", "_files")
def test_whole_workshop_opens_on_a_new_machine_with_photos_reports_and_key(
    tmp_path: Path, settings: object
) -> None:
    settings.SECRET_KEY = KEY  # type: ignore[attr-defined]
    Workshop.objects.update(name="Wader & Sons")
    backup(tmp_path / "monday")
    with new_machine(tmp_path) as env:
        done = manage(env, "restore", str(tmp_path / "monday"))
        assert done.returncode == 0, done.stdout + done.stderr
        assert "“Wader & Sons”, your own" in done.stdout
        found = [str(one) for one in audit.check()]
        assert done.stdout.splitlines()[: len(found)] == found
        again = manage(env, "restore", str(tmp_path / "monday"))
        assert again.returncode == 1
        assert "already" in again.stderr
    new = tmp_path / "new"
    assert (new / "media/photos/a.jpg").read_bytes() == b"media/photos/a.jpg"
    assert (new / "reports/2026-10.pdf").read_bytes() == b"reports/2026-10.pdf"
    assert (new / "secret_key").read_text() == KEY
    assert (new / "own_workshop").exists()
    opened = [str(path) for path in new.rglob("*") if path.stat().st_mode & 0o077]
    assert opened == []


@pytest.mark.usefixtures("books")
def test_a_copy_of_books_that_do_not_hold_is_not_called_proved(tmp_path: Path) -> None:
    triggers.remove(connection)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE inventory_posting SET quantity = quantity + 1")
    triggers.install(connection)
    with pytest.raises(CommandError, match=r"could not be proved.*FAIL"):
        backup()
    assert copies.there() == {}
    standing = kept.standing()
    assert standing.proved is None
    assert standing.failed is not None
    assert "FAIL" in standing.failed.why
    assert len(list(kept.folder().glob("*.unproved"))) == 1


def test_a_proved_copy_is_told_to_the_desk_and_only_its_maker_may_read_it(shop: Shop) -> None:
    assert "checks passed" in backup()
    ((at, name),) = copies.there().items()
    path = kept.folder() / name
    proved = kept.standing().proved
    assert proved is not None
    assert (proved.at.replace(microsecond=0), proved.file) == (at, str(path))
    assert path.stat().st_mode & 0o077 == 0
    assert path.parent.stat().st_mode & 0o077 == 0


def _flipped(raw: bytes) -> bytes:
    middle = len(raw) // 2
    return raw[:middle] + bytes([raw[middle] ^ 1]) + raw[middle + 1 :]


def test_an_archive_that_was_cut_short_or_changed_is_refused_before_anything_is_written(
    shop: Shop, tmp_path: Path
) -> None:
    backup(tmp_path / "monday")
    whole, spoilt = (tmp_path / "monday").read_bytes(), tmp_path / "spoilt"
    for raw in (whole[:-200], _flipped(whole), b""):
        spoilt.write_bytes(raw)
        with pytest.raises(CommandError, match="could not be proved"):
            call_command("backup", prove=spoilt, stdout=StringIO())
    call_command("backup", prove=tmp_path / "monday", stdout=StringIO())


def test_a_file_that_is_there_is_never_written_over(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "monday").write_text("of last week")
    with pytest.raises(CommandError, match="exists already"):
        backup(tmp_path / "monday")
    assert (tmp_path / "monday").read_text() == "of last week"


def test_a_folder_that_is_not_there_is_named(shop: Shop, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="No such file or directory"):
        backup(tmp_path / "nowhere" / "monday")


def test_a_copy_that_fails_leaves_nothing_that_looks_like_one(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """PostgreSQL is not copied without its client, and says so; SQLite needs its file."""
    monkeypatch.setenv("PATH", str(tmp_path))
    if connection.vendor == "sqlite":
        monkeypatch.setitem(connection.settings_dict, "NAME", str(tmp_path / "no" / "where"))
    with pytest.raises(CommandError, match=r"not finished|There is no pg_dump here"):
        backup(tmp_path / "monday")
    assert not list(tmp_path.glob("monday*"))


def test_the_beat_copies_no_empty_workshop() -> None:
    assert copies.make_if_due() is False
    assert copies.there() == {}


def test_the_beat_makes_one_copy_a_night(shop: Shop) -> None:
    furnished_october(shop)
    assert copies.make_if_due() is True
    assert copies.make_if_due() is False
    with time_machine.travel(NOON.replace(day=NOON.day + 1)):
        assert copies.make_if_due() is True
    assert len(copies.there()) == 2


def test_two_copies_are_never_made_at_once(shop: Shop) -> None:
    with copies._alone(), pytest.raises(CommandError, match="at this moment"):
        backup()
