"""Copies of the workshop: one archive, proved by restoring it aside, kept by rule."""

from __future__ import annotations

import fcntl
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import structlog
from django.utils import timezone

from deploy import archive, keeping, proving
from deploy.databases import NotCopied
from deploy.proving import Unproved
from inventory.running.queries import copies

log = structlog.get_logger(__name__)

_NAME = "hingeback-%Y%m%dT%H%M%SZ.tar.gz"


class Busy(Exception):
    """Another process is making a copy at this moment."""


@dataclass(frozen=True)
class Made:
    path: Path
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
        copies.note_proved(copies.Proved(at, str(made.path), made.size_bytes))
        if to is None:
            _forget_by_rule()
        return made


def _made(at: datetime, to: Path | None) -> Made:
    path = to or copies.folder() / at.astimezone(UTC).strftime(_NAME)
    half = path.with_name(f"{path.name}.unproved")
    if path.exists():
        raise NotCopied(f"{path} exists already; name a new file.")
    if to is None:
        _clear_away_unproved()
    archive.write(half, at)
    # What cannot be proved keeps its name: better an archive in doubt than none at all.
    lines = proving.prove(half, copies.folder())
    # Only what is proved gets the name by which copies are found: a rename within one folder is
    # whole or not at all.
    half.replace(path)
    return Made(path, path.stat().st_size, lines)


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


def there() -> dict[datetime, Path]:
    """Return the proved archives of the copies' folder by their moment."""
    found = {}
    for path in copies.folder().glob("hingeback-*.tar.gz"):
        try:
            found[datetime.strptime(path.name, _NAME).replace(tzinfo=UTC)] = path
        except ValueError:
            continue  # somebody else's file
    return found


def _forget_by_rule() -> None:
    archives = there()
    for at in archives.keys() - keeping.kept(archives, timezone.get_default_timezone()):
        archives[at].unlink()


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
