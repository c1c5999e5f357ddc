"""Put an archive of a workshop back, on a machine that holds none."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.db import OperationalError

from deploy import restoring
from deploy.databases import NotCopied
from deploy.proving import Unproved


class Command(BaseCommand):
    help = "Restore an archive that `backup` wrote into an empty installation, and check it."
    # Nothing may ask the database before it is restored: opening an SQLite file makes an empty one,
    # which then counts as a workshop that is there.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("archive", type=Path, help="the archive")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        try:
            made, lines = restoring.restore(options["archive"].absolute())
        except (NotCopied, OperationalError) as error:
            raise CommandError(str(error).strip()) from error
        except Unproved as error:
            raise CommandError(f"It was restored, and it does not hold. {error}") from error
        self.stdout.write("\n".join(lines))
        kind = "the demo" if made.practice else "your own"
        self.stdout.write(
            f"Workshop “{made.workshop}”, {kind}, as of {made.made_at}, "
            f"{len(made.files)} files, restored into {settings.DATA_DIR}"
        )
        if restoring.has_other_key():
            self.stdout.write(
                "HINGEBACK_SECRET_KEY is another key than the workshop had: everybody is signed "
                "out, and letters cannot repeat links. The old key is in "
                f"{settings.DATA_DIR / 'secret_key'}; set it, then delete that file."
            )
