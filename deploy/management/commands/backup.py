"""Save the whole workshop in one archive while it runs, and prove the archive by restoring it."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from deploy import copies, proving
from deploy.databases import NotCopied
from deploy.proving import Unproved
from inventory.running.queries import copies as kept


class Command(BaseCommand):
    help = "Save database, photos, reports and key in one archive, and prove it (checkledger)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--to", type=Path, help="a new file (the folder of copies)")
        parser.add_argument("--prove", type=Path, metavar="FILE", help="only prove this archive")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        try:
            if options["prove"]:
                lines = proving.prove(options["prove"], kept.folder())
                self.stdout.write(f"{options['prove']} is whole: {len(lines)} checks passed")
                return
            made = copies.make(timezone.now(), options["to"])
        except Unproved as error:
            raise CommandError(f"The archive could not be proved. {error}") from error
        except (NotCopied, copies.Busy) as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{made.file} {made.size_bytes} bytes, {len(made.lines)} checks passed")
