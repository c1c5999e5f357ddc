"""What is known of the copies of this workshop: the last that was proved, the last that failed.

Kept as two small files beside the copies, not in the database: a database that is lost, or that
was restored, must not be the one to say how old its copy is.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, TypeVar

from django.conf import settings
from django.db.models import Min

from inventory.models import Event, Movement

Kept = TypeVar("Kept")

OLD_AFTER = timedelta(days=2)


@dataclass(frozen=True)
class Proved:
    """The last copy that was restored aside and checked. `at`: the moment of its data."""

    at: datetime
    file: str
    size_bytes: int


@dataclass(frozen=True)
class Failed:
    """The last attempt, when it failed after the last proof."""

    at: datetime
    why: str


@dataclass(frozen=True)
class Standing:
    """How safe the workshop is. `since` is when there was first something to lose."""

    proved: Proved | None
    failed: Failed | None
    since: datetime | None

    def is_old(self, now: datetime) -> bool:
        """Whether what would be lost now is more than two days of work."""
        at = self.proved.at if self.proved else self.since
        return at is not None and now - at > OLD_AFTER


def folder() -> Path:
    """Where copies are made and proved, made for its owner alone when it is missing."""
    place = Path(settings.COPIES_DIR)
    place.mkdir(mode=0o700, parents=True, exist_ok=True)
    return place


def standing() -> Standing:
    proved = _read(
        "proved.json", lambda data: Proved(_at(data["at"]), data["file"], data["size_bytes"])
    )
    failed = _read("failed.json", lambda data: Failed(_at(data["at"]), data["why"]))
    # Without a proof the age counts from the first thing that could be lost; an empty workshop has
    # nothing to lose.
    return Standing(proved, failed, None if proved else _since())


def _since() -> datetime | None:
    """When the first thing was entered that a loss would take."""
    action = Event.objects.aggregate(first=Min("at"))["first"]
    movement = Movement.objects.aggregate(first=Min("recorded_at"))["first"]
    return min((at for at in (action, movement) if at), default=None)


def note_proved(proved: Proved) -> None:
    """A proof makes earlier failures past."""
    _write(
        "proved.json",
        {"at": proved.at.isoformat(), "file": proved.file, "size_bytes": proved.size_bytes},
    )
    (folder() / "failed.json").unlink(missing_ok=True)


def note_failed(failed: Failed) -> None:
    _write("failed.json", {"at": failed.at.isoformat(), "why": failed.why})


def _at(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _read(name: str, shape: Callable[[Any], Kept]) -> Kept | None:
    try:
        return shape(json.loads((folder() / name).read_text(encoding="utf-8")))
    except (OSError, ValueError, TypeError, KeyError):
        return None  # as if none had been made: the desk then says so


def _write(name: str, content: dict[str, object]) -> None:
    half = folder() / f".{name}"
    half.write_text(json.dumps(content), encoding="utf-8")
    # A rename is whole or not at all: a reader never finds half a file, nor does a crash leave one.
    half.replace(folder() / name)
