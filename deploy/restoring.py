"""Putting an archive in the place of an installation that is still empty."""

from __future__ import annotations

import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from django.conf import settings
from django.core.files import File
from django.core.files.storage import storages
from django.db import connection

from deploy import archive, databases, proving
from deploy.archive import Manifest
from deploy.databases import NotCopied


def restore(path: Path) -> tuple[Manifest, list[str]]:
    """Restore and check. Returns what the archive said of itself and the lines of the check.

    Raises NotCopied before anything is changed, Unproved when what was restored does not hold.
    """
    databases.refuse_unless_empty()
    if storages["photos"].listdir("")[1]:
        raise NotCopied("There are photos already. Nothing was restored.")
    with TemporaryDirectory(prefix=".restoring-", dir=settings.DATA_DIR) as aside:
        folder = Path(aside)
        made = archive.unpack(path, folder)
        if made.engine != databases.engine():
            raise NotCopied(
                f"This is a copy of {made.engine}, and this installation uses "
                f"{databases.engine()}: set HINGEBACK_DATABASE_URL. Nothing was restored."
            )
        databases.load(folder / archive.DATABASE[made.engine])
        (folder / archive.LIST).unlink()
        _put_back(folder)
    if not made.practice:
        (settings.DATA_DIR / "own_workshop").write_text("The data of your own workshop.\n")
    connection.close()
    return made, proving.checked({"HINGEBACK_DATA_DIR": str(settings.DATA_DIR)})


def _put_back(folder: Path) -> None:
    """Everything but the database. The key replaces the one that this start made for itself."""
    for place, name in archive.STORED.items():
        for path in sorted((folder / place).glob("*")):
            with path.open("rb") as file:
                storages[name].save(path.name, File(file))
        shutil.rmtree(folder / place, ignore_errors=True)
    shutil.rmtree(folder / "media", ignore_errors=True)
    shutil.copytree(
        folder,
        settings.DATA_DIR,
        dirs_exist_ok=True,
        ignore=shutil.ignore_patterns(*archive.DATABASE.values()),
    )


def has_other_key() -> bool:
    """Whether the key that was restored is not the one that this installation is given."""
    kept = (settings.DATA_DIR / "secret_key").read_text(encoding="utf-8").strip()
    return settings.KEY_IS_GIVEN and kept != settings.SECRET_KEY
