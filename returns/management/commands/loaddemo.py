"""Load the invented demo scenario into an empty database, through the real rules."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from inventory.models import Movement
from returns.models import FrameModel
from returns.scenario.play import play


class Command(BaseCommand):
    help = "Load the invented demo scenario (three closed months and one open)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="do nothing if data is there")

    def handle(self, *args: Any, once: bool, **options: Any) -> None:
        if FrameModel.objects.exists() or Movement.objects.exists():
            if once:
                return
            raise CommandError("There is data already. Start with an empty database.")
        self.stdout.write("Loading the invented demo scenario (once)")
        told = play(now=timezone.now(), logins_file=settings.DATA_DIR / "demo_logins.txt")
        self.stdout.write(
            f"{told.requests} requests, {told.frames} frames, {told.movements} movements; "
            f"closed: {', '.join(told.closed)}"
        )
