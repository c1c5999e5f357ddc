"""Every release that is kept upgrades to this version, with its books whole."""

from __future__ import annotations

import lzma
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from secrets import token_hex
from urllib.parse import urlsplit, urlunsplit

import psycopg
import pytest
from django.conf import settings

from deploy import proving

KEPT = settings.BASE_DIR / "fixtures" / "releases"
SERVER = os.environ.get("HINGEBACK_TEST_DATABASE_URL", "")


def kept(engine: str) -> list[Path]:
    return sorted(KEPT.glob(f"*-{engine}.xz"))


def test_this_release_is_kept_for_both_databases() -> None:
    version = settings.SPECTACULAR_SETTINGS["VERSION"]
    for engine in ("sqlite", "postgresql"):
        assert KEPT / f"{version}-{engine}.xz" in kept(engine), "manage.py keeprelease"


@pytest.mark.slow
@pytest.mark.parametrize("release", kept("sqlite"), ids=lambda path: path.stem)
def test_a_release_on_sqlite_upgrades_with_its_books_whole(release: Path, tmp_path: Path) -> None:
    (tmp_path / "hingeback.sqlite3").write_bytes(lzma.decompress(release.read_bytes()))
    address = f"sqlite:///{tmp_path}/hingeback.sqlite3"
    here = {"HINGEBACK_DATA_DIR": str(tmp_path), "HINGEBACK_DATABASE_URL": address}
    whole(proving.checked(here))


@pytest.mark.slow
@pytest.mark.service
@pytest.mark.parametrize("release", kept("postgresql"), ids=lambda path: path.stem)
def test_a_release_on_postgresql_upgrades_with_its_books_whole(
    release: Path, tmp_path: Path
) -> None:
    text = lzma.decompress(release.read_bytes()).decode()
    # Words for the client program, which newer dumps have; the server takes none.
    statements = re.sub(r"^\\.*$", "", text, flags=re.MULTILINE)
    with a_database() as address:
        with psycopg.connect(address, autocommit=True) as there:
            there.execute(statements.encode())
        here = {"HINGEBACK_DATA_DIR": str(tmp_path), "HINGEBACK_DATABASE_URL": address}
        whole(proving.checked(here))


@contextmanager
def a_database() -> Iterator[str]:
    """A database of its own on the tests' server, gone afterwards."""
    server, name = SERVER.replace("postgres://", "postgresql://"), f"upgrade_{token_hex(4)}"
    with psycopg.connect(server, autocommit=True) as there:
        there.execute(f"CREATE DATABASE {name}")
        try:
            yield urlunsplit(urlsplit(server)._replace(path=f"/{name}"))
        finally:
            there.execute(f"DROP DATABASE {name} WITH (FORCE)")


def whole(lines: list[str]) -> None:
    assert [line for line in lines if not line.startswith("ok ")] == []
    assert "ok closed-reports-unchanged: 2 looked at" in lines
