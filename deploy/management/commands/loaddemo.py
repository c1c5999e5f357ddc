"""Load the invented demo scenario into an empty database: recorded from the real rules.

Knows how to play it as well, where the recording does not fit, and how to record it anew.
"""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.conf import settings
from django.contrib.auth.models import User
from django.core.management.base import BaseCommand, CommandError
from django.db import transaction
from django.utils import timezone

from deploy.demo import recording
from deploy.demo.play import Played, play, play_again, record
from inventory.masters import queries as practice
from inventory.models import Event, Movement, Part, Polymer, Scale, Workshop
from inventory.months.sums.calendar_month import Month
from returns.models import FrameModel

_REAL = (User, Event, Movement, FrameModel, Polymer, Scale, Part)


class Command(BaseCommand):
    help = "Load the invented demo scenario (twelve closed months and one open)."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--once", action="store_true", help="do nothing if data is there")
        parser.add_argument("--play", action="store_true", help="play it, though it is recorded")
        parser.add_argument(
            "--record", action="store_true", help="play a year and keep it; an empty database only"
        )

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
        if options["record"]:
            self._record()
            return
        told = self._load(play_only=options["play"])
        practice.forget()
        self.stdout.write(
            f"{told.requests} requests, {told.frames} frames, {told.movements} movements; "
            f"{len(told.closed)} months closed"
        )

    def _load(self, *, play_only: bool) -> Played:
        now, logins = timezone.now(), settings.DATA_DIR / "demo_logins.txt"
        if not play_only:
            try:
                return play_again(told=recording.kept(), now=now, logins_file=logins)
            except recording.Unfit as error:
                self.stderr.write(f"The demo is played, which takes a minute: {error}")
        return play(now=now, logins_file=logins)

    def _record(self) -> None:
        try:
            with transaction.atomic():
                told = record(Month.of_date(timezone.localdate()))
                raise _Recorded
        except _Recorded:
            size = told.save(settings.BASE_DIR / recording.FILE)
        self.stdout.write(f"{recording.FILE}: {len(told.entries)} entries, {size:,} bytes")


class _Recorded(Exception):
    """Undoes what was played: the recording is all that is wanted."""


def _is_empty() -> bool:
    """Nothing that a person entered: not even a first owner, or the workshop's address."""
    return not (
        any(table.objects.exists() for table in _REAL)
        or Workshop.objects.exclude(address="").exists()
    )
