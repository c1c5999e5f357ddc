"""Write a month's recovered-material report to a file."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from inventory.errors import HingebackError
from inventory.months.queries import recovered
from inventory.months.reports import files


class Command(BaseCommand):
    help = "Write the recovered-material report of a month, for example: monthreport 2026-10"

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("month", help="year and month, for example 2026-10")
        parser.add_argument("--format", choices=sorted(files.FORMATS), default="pdf")
        parser.add_argument("--output", type=Path, required=True, help="the file to write")

    def handle(self, *args: Any, **options: Any) -> None:
        del args
        output: Path = options["output"]
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
