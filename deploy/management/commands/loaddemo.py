"""Load the invented demo scenario into an empty database, through the real rules."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from deploy.demo.play import play
from inventory.masters import queries as practice
from inventory.models import Event, Movement, Part, Polymer, Scale, Workshop
from returns.models import FrameModel

_REAL = (User, Event, Movement, FrameModel, Polymer, Scale, Part)


class Command(BaseCommand):
    help = "Load the invented demo scenario (twelve closed months and one open)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="do nothing if data is there")

    def handle(self, *args: Any, once: bool, **options: Any) -> None:
        if practice.is_on():
            if once:
                return
            raise CommandError("The demo is loaded already.")
        if settings.SERVED:
            raise CommandError("HINGEBACK_SERVED is for real customers: no demo is loaded here.")
        if not _is_empty():
            raise CommandError(
                "This database holds a workshop's own data. The demo never mixes with it: "
                "choose another HINGEBACK_DATA_DIR or HINGEBACK_DATABASE_URL."
            )
        self.stdout.write("Loading the invented demo scenario (once)")
        data = play(now=timezone.now(), logins_file=settings.DATA_DIR / "demo_logins.txt")
        practice.forget()
        self.stdout.write(
            f"{data.requests} requests, {data.frames} frames, {data.movements} movements; "
            f"closed: {', '.join(data.closed)}"
        )


def _is_empty() -> bool:
    """Nothing that a person entered: not even a first owner, or the workshop's address."""
    return not (
        any(table.objects.exists() for table in _REAL)
        or Workshop.objects.exclude(address="").exists()
    )
