"""One file that holds a whole workshop: database, photos, reports, secret key.

A gzipped tar. Its last member lists every other with its SHA-256, so that an archive that was cut
short, or changed by one byte, is refused. It holds personal data and the key: only its maker
may read it.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import tarfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.conf import settings
from django.core.files.storage import Storage, storages

from deploy import databases
from deploy.databases import NotCopied
from inventory.models import Workshop

FORMAT = 1
LIST = "manifest.json"
DATABASE = {"sqlite": "database.sqlite3", "postgresql": "database.dump"}
# Where each store's files lie in an archive, whatever store it was.
STORED = {"media/photos": "photos", "reports": "reports"}
_MARKS = ("own_workshop", "demo_logins.txt")


@dataclass(frozen=True)
class Manifest:
    """What an archive says of itself. `files` maps each member's name to its SHA-256."""

    engine: str
    made_at: str
    workshop: str
    practice: bool
    format: int = FORMAT
    files: dict[str, str] = field(default_factory=dict)


def write(to: Path, at: datetime) -> Manifest:
    """Write the archive of this installation to a new file. A failure leaves no file."""
    out = _new_private(to)
    try:
        with os.fdopen(out, "wb") as raw, TemporaryDirectory(dir=to.parent) as aside:
            made = _fill(raw, Path(aside), at)
            raw.flush()
            # A copy that only lies in the kernel's buffers is lost with the power that it should
            # guard against.
            os.fsync(raw.fileno())
    except OSError as error:
        to.unlink()
        raise NotCopied(f"{to} was not finished: {error.strerror}.") from error
    # Ctrl-C as well: half an archive must not be taken for one.
    except BaseException:
        to.unlink()
        raise
    return made


def _new_private(to: Path) -> int:
    try:
        # Private from its first byte: a chmod afterwards would leave a moment in which others can
        # open it. O_EXCL never writes over a copy.
        return os.open(to, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600)
    except FileExistsError as error:
        raise NotCopied(f"{to} exists already; name a new file.") from error
    except OSError as error:
        raise NotCopied(f"{to} cannot be written: {error.strerror}.") from error


def _fill(raw: io.BufferedWriter, aside: Path, at: datetime) -> Manifest:
    # These two alone: before an upgrade the table has not all of today's columns.
    workshop = Workshop.objects.filter(pk=1).only("name", "demo").first()
    made = Manifest(
        engine=databases.engine(),
        made_at=at.isoformat(),
        workshop=workshop.name if workshop else "",
        practice=bool(workshop and workshop.demo),
    )
    # The database first: whatever picture it names was there when the pictures are read.
    database = aside / DATABASE[made.engine]
    databases.dump(database)
    with tarfile.open(fileobj=raw, mode="w:gz", compresslevel=6) as tar:
        for name, path in [(database.name, database), *_extra_files()]:
            _add_file(tar, made, name, path.open("rb"))
        for name, store, file_name in _stored_files():
            # Erased since the store was read: then it is not there, and not in the archive.
            with suppress(FileNotFoundError):
                _add_file(tar, made, name, store.open(file_name))
        # The key belongs to it: without it every link in a letter that was sent would be dead.
        _add(tar, "secret_key", settings.SECRET_KEY.encode(), at, made)
        _add(tar, LIST, json.dumps(asdict(made), indent=1).encode(), at)
    return made


def _extra_files() -> Iterator[tuple[str, Path]]:
    """What the data folder holds beside the database, by its name in the archive."""
    # Without the authority every tablet would have to be told anew whom to trust.
    folder = settings.NETWORK_DIR / "pki"
    for path in sorted(folder.rglob("*")):
        # A link could lead out of the folder and draw foreign files into the archive.
        if path.is_file() and not path.is_symlink():
            yield f"network/pki/{path.relative_to(folder).as_posix()}", path
    for name in _MARKS:
        if (settings.DATA_DIR / name).is_file():
            yield name, settings.DATA_DIR / name


def _stored_files() -> Iterator[tuple[str, Storage, str]]:
    """Photos and reports, wherever they are kept: name in the archive, store, name there."""
    for place, name in STORED.items():
        store = storages[name]
        for file_name in sorted(store.listdir("")[1]):
            if not file_name.endswith(".part"):
                yield f"{place}/{file_name}", store, file_name


def _add_file(tar: tarfile.TarFile, made: Manifest, name: str, source: Any) -> None:
    with source:
        # Nothing of the machine goes along: names and numbers of users mean something else where it
        # is unpacked.
        head = tarfile.TarInfo(name)
        head.size, head.mode = source.seek(0, os.SEEK_END), 0o600
        head.mtime = int(datetime.fromisoformat(made.made_at).timestamp())
        source.seek(0)
        made.files[name] = hashlib.file_digest(source, "sha256").hexdigest()
        source.seek(0)
        tar.addfile(head, source)


def _add(
    tar: tarfile.TarFile, name: str, content: bytes, at: datetime, made: Manifest | None = None
) -> None:
    head = tarfile.TarInfo(name)
    head.size, head.mode, head.mtime = len(content), 0o600, int(at.timestamp())
    tar.addfile(head, io.BytesIO(content))
    if made is not None:
        made.files[name] = hashlib.sha256(content).hexdigest()


def unpack(archive: Path, into: Path) -> Manifest:
    """Unpack into an empty folder and compare every file with the list. Refuses what differs."""
    try:
        with tarfile.open(archive, "r:gz") as tar:
            for member in tar:
                # `filter="data"` refuses paths that lead outside; links and devices we never write,
                # so they are refused as well.
                if not member.isfile():
                    raise NotCopied(f"{archive} holds {member.name}, which is no plain file.")
                tar.extract(member, into, filter="data")
        raw = json.loads((into / LIST).read_text(encoding="utf-8"))
        made = Manifest(**raw)
    except FileNotFoundError as error:
        missing = archive if not archive.exists() else LIST
        raise NotCopied(f"{archive} is no archive of a workshop: no {missing}.") from error
    except (tarfile.TarError, EOFError, OSError, ValueError, TypeError) as error:
        raise NotCopied(f"{archive} is damaged, or no archive of a workshop: {error}.") from error
    if made.format != FORMAT or made.engine not in DATABASE:
        raise NotCopied(f"{archive} was written by another version of this program.")
    _compare(archive, into, made)
    return made


def _compare(archive: Path, into: Path, made: Manifest) -> None:
    there = {p.relative_to(into).as_posix() for p in into.rglob("*") if p.is_file()} - {LIST}
    needed = {DATABASE[made.engine], "secret_key"}
    # The list is compared both ways: a file too many is as suspect as one that is lacking.
    if there != set(made.files) or not needed <= there:
        raise NotCopied(f"{archive} does not hold the files that its own list names.")
    for name, digest in made.files.items():
        with (into / name).open("rb") as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != digest:
                raise NotCopied(f"{archive} is damaged: {name} is not what was saved.")
