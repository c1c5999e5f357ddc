"""Copies of the workshop: one archive, proved by restoring it aside, kept by rule."""

from __future__ import annotations

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import structlog
from django.core.files import File
from django.core.files.storage import storages
from django.utils import timezone

from deploy import archive, keeping, proving
from deploy.databases import NotCopied
from deploy.proving import Unproved
from deploy.stores import Folder
from inventory.furniture.away import is_store_away
from inventory.running.queries import copies

log = structlog.get_logger(__name__)

_NAME = "hingeback-%Y%m%dT%H%M%SZ.tar.gz"


class Busy(Exception):
    """Another process is making a copy at this moment."""


@dataclass(frozen=True)
class Made:
    """A copy that was proved: its file, or its name in the store of copies."""

    file: str
    size_bytes: int
    lines: list[str]


def make(at: datetime, to: Path | None = None) -> Made:
    """Write an archive and prove it; one in the copies' own folder takes its place among them.

    Raises NotCopied or Unproved, both noted for the owner's desk; Busy when one is being made.
    """
    with _alone():
        try:
            made = _made(at, to)
        except (NotCopied, Unproved) as error:
            copies.note_failed(copies.Failed(at, str(error)))
            raise
        copies.note_proved(copies.Proved(at, made.file, made.size_bytes))
        if to is None:
            _forget_by_rule()
        return made


def _made(at: datetime, to: Path | None) -> Made:
    name = at.astimezone(UTC).strftime(_NAME)
    path = to or copies.folder() / name
    half = path.with_name(f"{path.name}.unproved")
    if path.exists():
        raise NotCopied(f"{path} exists already; name a new file.")
    if to is None:
        _clear_away_unproved()
    with _said("The store of photos and reports is away, or its disk is full. Nothing was copied."):
        archive.write(half, at)
    # What cannot be proved keeps its name: better an archive in doubt than none at all.
    lines = proving.prove(half, copies.folder())
    size_bytes = half.stat().st_size
    # Only what is proved gets the name by which copies are found: a rename within one folder is
    # whole or not at all.
    half.replace(path)
    if to is None and not _is_at_home():
        _carry(path, name)
        return Made(name, size_bytes, lines)
    return Made(str(path), size_bytes, lines)


def _is_at_home() -> bool:
    """Whether the store of copies is the folder in which they are made."""
    return isinstance(storages["copies"], Folder)


def _carry(path: Path, name: str) -> None:
    words = f"{path} is made and proved, and the store of copies is away."
    with _said(words), path.open("rb") as file:
        storages["copies"].save(name, File(file))
    path.unlink()


@contextmanager
def _said(words: str) -> Iterator[None]:
    """Whatever a library raises for a store that is away becomes a NotCopied with these words."""
    try:
        yield
    except Exception as error:
        if not is_store_away(error):
            raise
        raise NotCopied(words) from error


def make_if_due() -> bool:
    """Make tonight's copy unless it is there; for the beat. Returns whether one was made."""
    now, standing = timezone.now(), copies.standing()
    last = standing.proved.at if standing.proved else None
    failed = standing.failed.at if standing.failed else None
    zone = timezone.get_default_timezone()
    if standing.since is None and last is None:
        return False  # nothing was entered yet
    if not keeping.is_due(last=last, failed=failed, now=now, zone=zone):
        return False
    try:
        make(now)
    except Busy:
        return False
    except (NotCopied, Unproved) as error:
        log.error("copy_failed", why=str(error))
        return False
    return True


def there() -> dict[datetime, str]:
    """Return the names of the proved archives in the store of copies by their moment."""
    found = {}
    for name in storages["copies"].listdir("")[1]:
        try:
            found[datetime.strptime(name, _NAME).replace(tzinfo=UTC)] = name
        except ValueError:
            continue  # somebody else's file
    return found


def _forget_by_rule() -> None:
    archives = there()
    for at in archives.keys() - keeping.kept(archives, timezone.get_default_timezone()):
        storages["copies"].delete(archives[at])


def _clear_away_unproved() -> None:
    for path in copies.folder().glob("hingeback-*.unproved"):
        path.unlink()


@contextmanager
def _alone() -> Iterator[None]:
    """A task that the broker delivers twice must not make two copies at once."""
    with (copies.folder() / ".lock").open("w") as lock:
        try:
            # The lock of the file falls with its process, so a worker that was killed never leaves
            # it shut.
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            raise Busy("A copy is being made at this moment.") from error
        yield
