"""Keeps one migrated, empty database for all test processes of this checkout.

Migrating takes longer than most test files. What is kept, a file of SQLite or a database on the
PostgreSQL server, is named after all that the migrations are made of, so that a changed one is
never met by an old database.
"""

from __future__ import annotations

import fcntl
import hashlib
import re
import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from importlib.util import find_spec
from pathlib import Path

from django.apps import apps
from django.db import connection

ROOT = Path(__file__).resolve().parents[1]
# A server may serve the tests of several checkouts.
_ON_THE_SERVER = f"hingeback_kept_{hashlib.sha256(bytes(ROOT)).hexdigest()[:8]}_"
# The lock list stands for the migrations of the libraries.
_BESIDE = [ROOT / "deploy/requirements-dev.txt", ROOT / "deploy/settings.py"]
_IMPORTS = re.compile(r"^ *from ([\w.]+) import ([\w, ]+)", re.MULTILINE)


def copied(folder: Path, target: Path, migrate: Callable[[], None]) -> None:
    """Put the kept database at `target`; when there is none yet, `migrate` first makes `target`."""
    kept = folder / f"{_digest()}.sqlite3"
    with _alone(folder):
        if not kept.exists():
            migrate()
            _keep(target, kept)
            return
    shutil.copyfile(kept, target)


def cloned(folder: Path, target: str, migrate: Callable[[], None]) -> None:
    """Make the PostgreSQL database `target` from the kept one; the first time, by `migrate`."""
    kept = f"{_ON_THE_SERVER}{_digest()}"
    with _alone(folder), connection._nodb_cursor() as server:
        server.execute(
            "SELECT datname FROM pg_database WHERE starts_with(datname, %s)", [_ON_THE_SERVER]
        )
        there = {name for (name,) in server.fetchall()}
        if kept not in there:
            migrate()
            connection.close()
            for old in there:
                server.execute(f'DROP DATABASE "{old}"')
            server.execute(f'CREATE DATABASE "{kept}" TEMPLATE "{target}"')
            return
        server.execute(f'DROP DATABASE IF EXISTS "{target}" WITH (FORCE)')
        server.execute(f'CREATE DATABASE "{target}" TEMPLATE "{kept}"')


def _keep(made: Path, kept: Path) -> None:
    for old in kept.parent.glob("*.sqlite3"):
        old.unlink()
    # Renamed into place: a run that is broken off leaves no half a database.
    half = kept.with_suffix(".half")
    half.unlink(missing_ok=True)
    with closing(sqlite3.connect(made)) as source, closing(sqlite3.connect(half)) as target:
        source.backup(target)
    half.replace(kept)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """The workers of one run start together: the first makes the file, the others wait for it."""
    with (folder / "lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _digest() -> str:
    summed = hashlib.sha256(sys.version.encode())
    for path in sorted({*_made_of(), *_BESIDE}):
        summed.update(str(path.relative_to(ROOT)).encode() + b"\0" + path.read_bytes() + b"\0")
    return summed.hexdigest()[:24]


def _made_of() -> set[Path]:
    """The migrations, the models, and every module of ours that a migration leads to."""
    rooms = [Path(app.path) for app in apps.get_app_configs() if Path(app.path).parent == ROOT]
    found: set[Path] = set()
    for room in rooms:
        waiting = list((room / "migrations").glob("*.py"))
        while waiting:
            path = waiting.pop()
            if path not in found:
                found.add(path)
                waiting += _imported(path, [one.name for one in rooms])
    models = {sys.modules[model.__module__].__file__ for model in apps.get_models()}
    return found | {Path(name) for name in models if name and Path(name).is_relative_to(ROOT)}


def _imported(path: Path, rooms: list[str]) -> Iterator[Path]:
    for package, names in _IMPORTS.findall(path.read_text(encoding="utf-8")):
        if package.split(".")[0] not in rooms:
            continue
        for module in (package, *(f"{package}.{name.split()[0]}" for name in names.split(","))):
            found = _spec_origin(module)
            if found is not None:
                yield found


def _spec_origin(module: str) -> Path | None:
    try:
        spec = find_spec(module)
    except ModuleNotFoundError:
        return None
    return Path(spec.origin) if spec and spec.origin else None
