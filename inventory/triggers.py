"""The database's own refusal to change what is written once, for SQLite and PostgreSQL.

`install()` must end every migration that touches a guarded table: SQLite rebuilds a table for
most alterations and drops its triggers without a word. `present()` feeds the system check.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable

from django.db.backends.base.base import BaseDatabaseWrapper

GUARDED = (
    "inventory_movement",
    "inventory_posting",
    "inventory_reading",
    "inventory_month",
    "inventory_monthbalance",
    "inventory_event",
    "inventory_loadentry",
    "inventory_spoiled",
)
MONTH_GUARD = "inventory_movement_month_open"


def _sqlite(table: str) -> Iterable[str]:
    for action in ("UPDATE", "DELETE"):
        yield (
            # SQLite allows one action to a trigger and has no TRUNCATE; dropping the table is not
            # refused, or no migration could alter it.
            f"CREATE TRIGGER IF NOT EXISTS {table}_no_{action.lower()} BEFORE {action} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
        )


_SQLITE_MONTH = (
    f"CREATE TRIGGER IF NOT EXISTS {MONTH_GUARD} BEFORE INSERT ON inventory_movement "
    # Labels such as 2026-03 sort as text in the order of time. `>=` also shuts every month before
    # the last closed one, whether or not that one has a row of its own.
    "WHEN EXISTS (SELECT 1 FROM inventory_month WHERE label >= NEW.month) "
    "BEGIN SELECT RAISE(ABORT, 'the month of this movement is closed'); END"
)

_PG_FUNCTIONS = (
    """
    CREATE OR REPLACE FUNCTION hingeback_append_only() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = 'restrict_violation';
    END $$
    """,
    """
    CREATE OR REPLACE FUNCTION hingeback_month_open() RETURNS trigger LANGUAGE plpgsql AS $$
    BEGIN
        IF EXISTS (SELECT 1 FROM inventory_month WHERE label >= NEW.month) THEN
            RAISE EXCEPTION 'the month of this movement is closed'
                USING ERRCODE = 'restrict_violation';
        END IF;
        RETURN NEW;
    END $$
    """,
)


def _postgresql(table: str) -> Iterable[str]:
    yield (
        # A row trigger never fires on TRUNCATE, which therefore gets the second one. The names are
        # those of SQLite's pair, so that one list of names serves both databases.
        f"CREATE OR REPLACE TRIGGER {table}_no_update BEFORE UPDATE OR DELETE ON {table} "
        "FOR EACH ROW EXECUTE FUNCTION hingeback_append_only()"
    )
    yield (
        f"CREATE OR REPLACE TRIGGER {table}_no_delete BEFORE TRUNCATE ON {table} "
        "FOR EACH STATEMENT EXECUTE FUNCTION hingeback_append_only()"
    )


_PG_MONTH = (
    f"CREATE OR REPLACE TRIGGER {MONTH_GUARD} BEFORE INSERT ON inventory_movement "
    "FOR EACH ROW EXECUTE FUNCTION hingeback_month_open()"
)


def names(tables: Collection[str] = GUARDED) -> set[str]:
    """Return the name of every trigger that must exist where there are these tables."""
    guarded = [table for table in GUARDED if table in tables]
    both = {f"{table}_no_{action}" for table in guarded for action in ("update", "delete")}
    return both | {MONTH_GUARD}


def install(connection: BaseDatabaseWrapper) -> None:
    """Create what is missing; safe to repeat.

    A table that an earlier migration still knew by another name is guarded by the migration that
    renames it.
    """
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        if connection.vendor == "postgresql":
            for function in _PG_FUNCTIONS:
                cursor.execute(function)
        maker = _postgresql if connection.vendor == "postgresql" else _sqlite
        for table in (table for table in GUARDED if table in there):
            for statement in maker(table):
                cursor.execute(statement)
        cursor.execute(_PG_MONTH if connection.vendor == "postgresql" else _SQLITE_MONTH)


def remove(connection: BaseDatabaseWrapper) -> None:
    """Drop the triggers: for a migration's way back, and for the flush of a test database."""
    with connection.cursor() as cursor:
        for name in present(connection):
            table = "inventory_movement" if name == MONTH_GUARD else name.rsplit("_no_", 1)[0]
            # PostgreSQL names a trigger within its table, SQLite within the whole database.
            on = f" ON {table}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER {name}{on}")


def present(connection: BaseDatabaseWrapper) -> set[str]:
    """Return those of `names()` that the live database has."""
    query = (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        # Triggers that somebody else added are none of ours: not reported, and not dropped by
        # `remove`.
        return {row[0] for row in cursor.fetchall()} & names()
