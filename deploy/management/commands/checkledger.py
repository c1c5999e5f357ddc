"""Derive every figure of the ledger again and compare; exit 1 when anything differs."""

from __future__ import annotations

import sys
from typing import Any

from django.core.management.base import BaseCommand

from inventory.months.queries import audit


class Command(BaseCommand):
    help = "Check the ledger against itself. One line per check; exit code 1 when one fails."

    def handle(self, *args: Any, **options: Any) -> None:
        del args, options
        checked = audit.check()
        for outcome in checked:
            self.stdout.write(str(outcome))
        if not all(outcome.ok for outcome in checked):
            sys.exit(1)
