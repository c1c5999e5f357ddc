"""Write a month's recovered-material report to a file."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.errors import HingebackError
from inventory.months.queries import recovered
from inventory.months.reports import evidence, files
from inventory.months.sums.calendar_month import BadMonth, Month


class Command(BaseCommand):
    help = "Write the recovered-material report of a month, for example: monthreport 2026-10"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("month", help="year and month, for example 2026-10")
        parser.add_argument("--format", choices=sorted(files.FORMATS), default="pdf")
        parser.add_argument("--output", type=Path, required=True, help="the file to write")
        parser.add_argument("--since", help="the first month of the evidence, else the same")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        output: Path = options["output"]
        if options["since"]:
            self._evidence(options["since"], options["month"], output)
            return
        try:
            report = recovered.of_month(options["month"])
        except HingebackError as error:
            raise CommandError(error.message) from error
        try:
            for path, content in files.written(report, options["format"], output):
                path.write_bytes(content)
                self.stdout.write(f"{path} {len(content)} bytes")
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}") from error
        self.stdout.write(f"figures {recovered.digest(report)}")

    def _evidence(self, first: str, last: str, output: Path) -> None:
        try:
            with output.open("wb") as file:
                months = Month.parse(first), Month.parse(last)
                name = evidence.pack(*months, at=timezone.now(), to=file)
        except BadMonth as error:
            raise CommandError(error.template) from error
        except HingebackError as error:
            raise CommandError(error.message) from error
        except OSError as error:
            raise CommandError(f"{error.filename}: {error.strerror}") from error
        self.stdout.write(f"{output} {output.stat().st_size} bytes, {name}")
