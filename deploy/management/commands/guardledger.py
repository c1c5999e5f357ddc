"""Reinstall the append-only triggers after something dropped or changed them."""

from __future__ import annotations

from typing import Any

from django.core.checks import Tags
from django.core.management.base import BaseCommand
from django.db import connection

from inventory import triggers


class Command(BaseCommand):
    help = "Install the append-only triggers that are missing or changed in this database."
    requires_system_checks = [Tags.models]

    def handle(self, *args: Any, **options: Any) -> None:
        faults = triggers.faults(connection)
        triggers.install(connection)
        there = len(triggers.names(connection))
        self.stdout.write(f"{len(faults)} faults mended, {there} triggers in place")
        for fault in triggers.faults(connection):
            self.stdout.write(f"{fault}: look who made it, and drop it yourself")
