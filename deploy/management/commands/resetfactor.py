"""Take the second factor from a login whose owner has lost it, from the machine itself."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.errors import NotFound
from inventory.staff.rules import second


class Command(BaseCommand):
    help = "Take the second factor from a login; the password alone then opens it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("name", help="login name")

    def handle(self, *args: Any, name: str, **options: Any) -> None:
        try:
            person = second.reset_by_command(name=name, at=timezone.now())
        except NotFound as error:
            raise CommandError(f"Nobody signs in as “{name}”.") from error
        self.stdout.write(
            f"“{person.get_username()}” signs in by password alone. All sessions are ended.\n"
            "Set up a new second factor at once, under your own name at the top of each page."
        )
