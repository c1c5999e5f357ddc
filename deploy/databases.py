"""Copying a database while it runs and loading the copy elsewhere, for SQLite and PostgreSQL."""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from secrets import token_hex
from urllib.parse import urlsplit, urlunsplit

from django.db import connection


class NotCopied(Exception):
    """The copy or the loading did not come about; says what is missing or what to do."""


def engine() -> str:
    return connection.vendor


def dump(to: Path) -> None:
    """Write a consistent copy of the running database to a new file. Raises NotCopied."""
    if connection.vendor == "sqlite":
        _dump_sqlite(to)
    else:
        _run(["pg_dump", "--format=custom", "--file", str(to), *_reach()])
        # Reads the table of contents: a dump that was cut short is noticed now and not on the day
        # it is needed.
        _run(["pg_restore", "--list", str(to)])


def dump_plainly(to: Path) -> None:
    """Write a copy that any later version of the server reads: statements, for PostgreSQL."""
    if connection.vendor == "sqlite":
        _dump_sqlite(to)
        return
    # As INSERT statements: they need no client program to be read again.
    flags = ["--inserts", "--no-owner", "--no-privileges", "--file", str(to)]
    _run(["pg_dump", *flags, *_reach()])


def _dump_sqlite(to: Path) -> None:
    source = str(connection.settings_dict["NAME"])
    try:
        with closing(sqlite3.connect(source)) as here, closing(sqlite3.connect(to)) as copy:
            # SQLite's own backup: copying the file while it is written to would miss what lies in
            # the write-ahead log.
            here.backup(copy)
            # Without the log beside it the copy is one file, which is what goes into the archive.
            copy.execute("PRAGMA journal_mode=DELETE")
            verdict = copy.execute("PRAGMA integrity_check").fetchone()[0]
    except sqlite3.Error as error:
        raise NotCopied(f"The copy was not finished: {error}.") from error
    if verdict != "ok":
        raise NotCopied(f"The copy is damaged: {verdict}. Check the disk and try again.")


def refuse_unless_empty() -> None:
    """Refuse to restore over a workshop that is there. Raises NotCopied."""
    if connection.vendor == "sqlite":
        there = Path(str(connection.settings_dict["NAME"])).exists()
    else:
        there = bool(connection.introspection.table_names())
    if there:
        raise NotCopied(
            f"There is a database already: {connection.settings_dict['NAME']}. Nothing was "
            "restored. Name another HINGEBACK_DATA_DIR, or another HINGEBACK_DATABASE_URL."
        )


def load(copy: Path) -> None:
    """Put a copy in the place of the database that the settings name, which must be empty."""
    if connection.vendor == "sqlite":
        # Unpacked inside the data folder, so this is a rename on one disk, and no copy that can
        # stop half way.
        copy.replace(str(connection.settings_dict["NAME"]))
    else:
        _load_postgresql(copy, str(connection.settings_dict["NAME"]))


def _load_postgresql(copy: Path, name: str) -> None:
    # Roles of the old server may not exist here; in one transaction, so that a failure leaves the
    # database empty.
    flags = ["--no-owner", "--no-privileges", "--single-transaction", "--dbname", name]
    _run(["pg_restore", *_reach()[:-1], *flags, str(copy)])


@contextmanager
def aside(copy: Path) -> Iterator[str]:
    """Yield the address of a database beside ours that holds the copy, gone at the end."""
    if connection.vendor == "sqlite":
        yield f"sqlite:///{copy}"
        return
    ours = str(connection.settings_dict["NAME"])
    # A fresh name: two proofs at once, or one that was killed, must not meet in one database.
    name = f"{ours}_proof_{token_hex(4)}"
    _run(["createdb", *_reach()[:-1], "--maintenance-db", ours, name])
    try:
        _load_postgresql(copy, name)
        address = urlsplit(os.environ["HINGEBACK_DATABASE_URL"])
        yield urlunsplit(address._replace(path=f"/{name}"))
    finally:
        _run(["dropdb", *_reach()[:-1], "--maintenance-db", ours, name])


def _reach() -> list[str]:
    """How Django's own shell would reach the server; the last word is the database's name."""
    command, _secrets = connection.client.settings_to_cmd_args_env(connection.settings_dict, [])
    return list(command[1:])


def _run(command: list[str]) -> None:
    if shutil.which(command[0]) is None:
        raise NotCopied(
            f"There is no {command[0]} here. Install PostgreSQL's client programs, as new as the "
            "server: on Debian, apt-get install postgresql-client."
        )
    facts = connection.settings_dict
    _command, secrets = connection.client.settings_to_cmd_args_env(facts, [])
    # The password goes by the environment: arguments of a process can be read by everybody on the
    # machine.
    env = {**os.environ, **(secrets or {})}
    done = subprocess.run(command, capture_output=True, env=env, check=False)  # noqa: S603
    if done.returncode:
        data = done.stderr.decode(errors="replace").strip()
        raise NotCopied(f"{command[0]} did not finish: {data}")
