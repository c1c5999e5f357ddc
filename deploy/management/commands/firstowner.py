"""Make the first owner of an empty workshop and print the one link that sets the password."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.errors import Conflict, HingebackError
from inventory.staff.rules import staff


class Command(BaseCommand):
    help = "Make the first owner and print a link, good for once, that sets the password."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--name", default="owner", help="login name (owner)")
        parser.add_argument(
            "--once", action="store_true", help="say nothing when there is an owner already"
        )

    def handle(self, *args: Any, name: str, once: bool, **options: Any) -> None:
        try:
            person, path = staff.found(name=name, at=timezone.now())
        except Conflict as error:
            # For a start script, where an owner who is there already is the normal case.
            if once:
                return
            raise CommandError(error.message) from error
        except HingebackError as error:
            raise CommandError(error.message) from error
        hours = settings.PASSWORD_RESET_TIMEOUT // 3600
        self.stdout.write(
            f"The first owner signs in as “{person.get_username()}”. Lost the link? Run\n"
            "firstowner again: a new link makes the old one void.\n"
            f"Set the password here, once, within {hours} hours:\n\n"
            f"  {settings.BASE_URL}{path}"
        )
