"""Bring a workshop's data up to this version in one go, for the start scripts.

Knows the order alone; each step is a command that can be typed by itself.
"""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core import checks
from django.core.management import call_command
from django.core.management.base import BaseCommand


class Command(BaseCommand):
    help = "Migrate, then load the demo or make the first owner, where that is not done yet."
    # Said below in one line each, instead of as a page before anything has happened.
    requires_system_checks = ()

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("what", choices=["demo", "own"], help="the demo, or one's own workshop")
        parser.add_argument("--welcome", type=Path, help="where the first owner's link is written")

    def handle(self, *args: Any, what: str, welcome: Path | None, **options: Any) -> None:
        call_command("migrate", verbosity=0, skip_checks=True)
        if what == "demo":
            call_command("loaddemo", once=True, skip_checks=True, stdout=self.stdout)
        elif welcome is None:
            call_command("firstowner", once=True, skip_checks=True, stdout=self.stdout)
        else:
            welcome.touch(mode=0o600)
            with welcome.open("w", encoding="utf-8") as file:
                call_command("firstowner", once=True, skip_checks=True, stdout=file)
        for found in checks.run_checks(databases=["default"]):
            if not found.is_silenced():
                hint = f" {found.hint}" if found.hint else ""
                self.stdout.write(f"Note: {found.msg}{hint}")
