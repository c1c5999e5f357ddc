"""Copy the database while it runs, and prove that the copy opens and is whole."""

from __future__ import annotations

import os
import sqlite3
import subprocess
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.db import DatabaseError, connection


class Command(BaseCommand):
    help = "Write a consistent copy of the database to a new file (SQLite copy or pg_dump)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", required=True, type=Path, help="a file that does not exist yet")

    def handle(self, *args: Any, to: Path, **options: Any) -> None:
        _make_private(to)
        copy = _copy_sqlite if connection.vendor == "sqlite" else _dump_postgresql
        try:
            copy(to)
        except CommandError:
            to.unlink()
            raise
        self.stdout.write(f"{to} {to.stat().st_size} bytes")


def _make_private(to: Path) -> None:
    """An empty file that nobody else may read: the copy holds addresses and wishes."""
    try:
        os.close(os.open(to, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except FileExistsError as error:
        raise CommandError(f"{to} exists already; name a new file.") from error
    except OSError as error:
        raise CommandError(f"{to} cannot be written: {error.strerror}.") from error


def _copy_sqlite(to: Path) -> None:
    try:
        with connection.cursor() as cursor:
            cursor.execute("VACUUM INTO %s", [str(to)])
        copy = sqlite3.connect(to)
        verdict = copy.execute("PRAGMA integrity_check").fetchone()[0]
        copy.close()
    except (DatabaseError, sqlite3.DatabaseError) as error:
        raise CommandError(f"The copy was not finished: {error}.") from error
    if verdict != "ok":
        raise CommandError(f"The copy is damaged: {verdict}. Check the disk and try again.")


def _dump_postgresql(to: Path) -> None:
    """Reach the server as Django's own shell would: address, name, password, certificates."""
    facts = connection.settings_dict
    (_psql, *reach), secrets = connection.client.settings_to_cmd_args_env(facts, [])
    env = {**os.environ, **(secrets or {})}
    dump = ["pg_dump", "--format=custom", "--file", str(to), *reach]
    for command in (dump, ["pg_restore", "--list", str(to)]):
        try:
            subprocess.run(command, check=True, capture_output=True, env=env)  # noqa: S603
        except FileNotFoundError as error:
            text = f"There is no {command[0]} here; install PostgreSQL's client programs."
            raise CommandError(text) from error
        except subprocess.CalledProcessError as error:
            data = error.stderr.decode(errors="replace").strip()
            raise CommandError(f"{command[0]} did not finish: {data}") from error
