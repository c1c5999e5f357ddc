"""System checks: the append-only triggers are in place, and SQLite is fit to hold a ledger."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections

from inventory import triggers

# Versions below hold a rare bug that can damage a WAL database with several connections
# (fixed in SQLite 3.51.3, March 2026, release notes).
_WAL_FIXED = (3, 51, 3)


@register(Tags.database)
# Django runs checks with this tag only when a database is named, as `migrate` and `check
# --database` do: an ordinary start does not pay for them.
def guards_are_installed(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Error when a migrated database lacks one of the triggers."""
    messages: list[CheckMessage] = []
    for alias in databases or []:
        connection = connections[alias]
        tables = connection.introspection.table_names()
        # A database that was never migrated has nothing to guard yet, and must be able to migrate.
        if "inventory_posting" not in tables:
            continue
        # Before an upgrade a guarded table may still have an earlier name: `migrate` must run then.
        missing = triggers.names(tables) - triggers.present(connection)
        if missing:
            messages.append(
                Error(
                    f"Append-only triggers are missing: {', '.join(sorted(missing))}.",
                    hint="Run: python manage.py guardledger",
                    id="inventory.E001",
                )
            )
    return messages


@register(Tags.database)
def sqlite_is_sound(databases: Sequence[str] | None = None, **_: Any) -> list[CheckMessage]:
    """Warn when the embedded SQLite predates the write-ahead-log fix."""
    for alias in databases or []:
        # This is the version linked into Python, which need not be the one of the `sqlite3`
        # command.
        if connections[alias].vendor == "sqlite" and sqlite3.sqlite_version_info < _WAL_FIXED:
            return [
                Warning(
                    f"SQLite {sqlite3.sqlite_version} has a rare write-ahead-log bug "
                    "(mended in 3.51.3).",
                    hint="Keep nightly backups, or use PostgreSQL.",
                    id="inventory.W001",
                )
            ]
    return []
