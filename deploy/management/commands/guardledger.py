"""Reinstall the append-only triggers after something dropped them."""

from __future__ import annotations

from typing import Any

from django.core.checks import Tags
from django.core.management.base import BaseCommand
from django.db import connection

from inventory import triggers


class Command(BaseCommand):
    help = "Install the append-only triggers that are missing in this database."
    requires_system_checks = [Tags.models]

    def handle(self, *args: Any, **options: Any) -> None:
        missing = triggers.names() - triggers.present(connection)
        triggers.install(connection)
        self.stdout.write(f"{len(missing)} triggers installed, {len(triggers.names())} in place")
