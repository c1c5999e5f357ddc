"""System checks: the append-only triggers are in place, and SQLite is fit to hold a ledger."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.db import connections
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor

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
        faults = triggers.faults(connection)
        # Before an upgrade the guards are those of the version before: `migrate` must run then, and
        # puts the new ones there.
        if faults and not _is_behind(connection):
            messages.append(
                Error(
                    f"The append-only triggers are not in order: {', '.join(faults)}.",
                    hint="Run: python manage.py guardledger",
                    id="inventory.E001",
                )
            )
    return messages


def _is_behind(connection: BaseDatabaseWrapper) -> bool:
    executor = MigrationExecutor(connection)
    return bool(executor.migration_plan(executor.loader.graph.leaf_nodes("inventory")))


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
