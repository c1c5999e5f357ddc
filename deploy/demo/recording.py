"""What playing the demo wrote, kept as statements in the order of their moments.

Knows SQLite and nothing of the story. A recording that no longer fits the tables is refused, and
then the story is played, which takes longer and comes to the same.
"""

from __future__ import annotations

import json
import lzma
import os
import random
import re
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from random import Random
from typing import Any
from unittest import mock
from uuid import UUID

from django.conf import settings
from django.core.management.color import no_style
from django.db import DatabaseError, connection

from deploy.demo.shift import Shift
from inventory.chain import rules as chain

FILE = Path("fixtures") / "demo" / "recording.json.xz"
_WRITES = re.compile(r'(INSERT|UPDATE|DELETE|REPLACE)\b.*?"(\w+)"', re.DOTALL)
# Beside numbers for statements, an entry begins with one of these.
_AT, _CLOSE = "at", "close"
Close = Callable[[str, UUID, datetime], None]


class Unfit(Exception):
    """The recording was made for other tables. Record it anew; until then the story is played."""


@dataclass(frozen=True)
class Recording:
    month: tuple[int, int]
    columns: dict[str, list[str]]
    """The tables written to, as they were; others are another version's."""
    statements: list[str]
    entries: list[list[Any]]

    def save(self, path: Path) -> int:
        """Write the file; returns its size in bytes."""
        text = json.dumps(asdict(self), separators=(",", ":"), ensure_ascii=False)
        return path.write_bytes(lzma.compress(text.encode(), preset=9 | lzma.PRESET_EXTREME))


def kept() -> Recording:
    """Return the recording that this version carries."""
    facts = json.loads(lzma.decompress((settings.BASE_DIR / FILE).read_bytes()))
    return Recording(**facts | {"month": tuple(facts["month"])})


@dataclass
class Recorder:
    """Listens to a connection while the story is played on it."""

    entries: list[list[Any]] = field(default_factory=list)
    _numbers: dict[str, int] = field(default_factory=dict)
    _tables: set[str] = field(default_factory=set)
    _savepoints: dict[str, int] = field(default_factory=dict)
    _is_deaf: bool = False

    @classmethod
    @contextmanager
    def listening(cls) -> Iterator[Recorder]:
        recorder = cls()
        with connection.execute_wrapper(recorder):
            yield recorder

    def comes_to(self, moment: datetime) -> None:
        """Mark the moment of what is written next."""
        if self.entries and self.entries[-1][0] == _AT:
            self.entries.pop()  # nothing came of the one before
        self.entries.append([_AT, moment.isoformat()])

    @contextmanager
    def closing(self, label: str, key: UUID, at: datetime) -> Iterator[None]:
        """Keep the closing of a month as a deed, without its rows."""
        self._is_deaf = True
        yield
        self._is_deaf = False
        self.entries.append([_CLOSE, label, str(key), at.isoformat()])

    def recording(self, month: tuple[int, int]) -> Recording:
        columns = {table: _columns(table) for table in sorted(self._tables)}
        return Recording(month, columns, list(self._numbers), self.entries)

    def __call__(self, execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        word = sql.split(None, 1)[0]
        if word in {"SAVEPOINT", "ROLLBACK"}:
            self._step_back(word, sql.rsplit(maxsplit=1)[-1])
        found = _WRITES.match(sql)
        if found and not self._is_deaf:
            self._tables.add(found[2])
            plain = sql.replace("%s", "?").replace("%%", "%")
            number = self._numbers.setdefault(plain, len(self._numbers))
            for row in params if many else [params]:
                self.entries.append([number, *row])
        return execute(sql, params, many, context)

    def _step_back(self, word: str, name: str) -> None:
        if word == "SAVEPOINT":
            self._savepoints[name] = len(self.entries)
        else:
            # What was undone was never written.
            del self.entries[self._savepoints[name] :]


def tell(told: Recording, shift: Shift, now: datetime, *, close: Close) -> None:
    """Write what was recorded up to `now`, inside the caller's transaction. Raises Unfit."""
    _refuse_unfit(told)
    _count_from_one(told)
    try:
        # Past the framework, which would take apart each of some thirty thousand statements.
        _write(told, shift, now, connection.connection.execute, close)
    except (DatabaseError, sqlite3.Error) as error:
        raise Unfit(str(error)) from error


def _write(told: Recording, shift: Shift, now: datetime, execute: Any, close: Close) -> None:
    sealed = 0
    for what, *data in told.entries:
        if what == _AT:
            if shift.moment(datetime.fromisoformat(data[0])) > now:
                break
        elif what == _CLOSE:
            label, key, at = data
            # A close freezes where the chain ends: its digests are of the dates as they are told.
            sealed = _sealed(sealed)
            close(shift.text(label), UUID(key), shift.moment(datetime.fromisoformat(at)))
        else:
            row = [shift.text(one) if isinstance(one, str) else one for one in data]
            execute(told.statements[what], row)
    _sealed(sealed)


def _sealed(after: int) -> int:
    chain.witness_anew(after=after)
    return chain.seal_anew(after=after).position


def _count_from_one(told: Recording) -> None:
    # Rows are told without their numbers and asked for by them. A table that once held rows and was
    # emptied goes on counting where it was; told behind that, an update would find nobody.
    tables = [{"table": table, "column": "id"} for table in told.columns]
    for sql in connection.ops.sequence_reset_by_name_sql(no_style(), tables):
        connection.connection.execute(sql)


def _refuse_unfit(told: Recording) -> None:
    if connection.vendor != "sqlite":
        raise Unfit("It was recorded on SQLite.")
    for table, columns in told.columns.items():
        if _columns(table) != columns:
            raise Unfit(f"The table {table} has other columns now.")


def _columns(table: str) -> list[str]:
    with connection.cursor() as cursor:
        described = connection.introspection.get_table_description(cursor, table)
    return sorted(one.name for one in described)


@contextmanager
def seeded(seed: int) -> Iterator[None]:
    """Draw codes, salts and ids from a seed meanwhile: for recording, never for a real workshop."""
    # What is sealed with the server's key is made anew where the recording is told.
    chance = Random(seed)  # noqa: S311
    with (
        mock.patch.object(os, "urandom", chance.randbytes),
        # `secrets` draws through this name, which it took when it was imported.
        mock.patch.object(random, "_urandom", chance.randbytes),
        mock.patch.object(settings, "SECRET_KEY", "of a recording, and of no workshop there is"),
    ):
        yield
