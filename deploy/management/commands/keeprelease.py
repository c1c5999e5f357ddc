"""Keep a small database of this release, that later ones prove to upgrade from."""

from __future__ import annotations

import lzma
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError

from deploy import databases
from deploy.demo.play import play

FOLDER = Path("fixtures") / "releases"
# A story of two closed months meets every kind of row that a start of the demo writes.
CLOSED_MONTHS = 2
NOW = datetime(2026, 3, 18, 11, 0, tzinfo=UTC)


class Command(BaseCommand):
    help = "Play a short demo into an empty database and keep it under fixtures/releases/."

    def handle(self, *args: Any, **options: Any) -> None:
        del args, options
        if User.objects.exists():
            raise CommandError("This needs an empty, migrated database of its own.")
        version = settings.SPECTACULAR_SETTINGS["VERSION"]
        kept = settings.BASE_DIR / FOLDER / f"{version}-{databases.engine()}.xz"
        if kept.exists():
            raise CommandError(f"{kept} is kept for good. A new release has a new version.")
        with TemporaryDirectory() as aside:
            folder = Path(aside)
            play(now=NOW, logins_file=folder / "logins.txt", closed_months=CLOSED_MONTHS)
            copy = folder / "copy"
            databases.dump_plainly(copy)
            if databases.engine() == "sqlite":
                with closing(sqlite3.connect(copy)) as database:
                    database.execute("VACUUM")
            kept.parent.mkdir(exist_ok=True)
            size = kept.write_bytes(lzma.compress(copy.read_bytes(), preset=9))
        self.stdout.write(f"{kept.relative_to(settings.BASE_DIR)}: {size:,} bytes")
