"""The database's own refusal to change what is written once, for SQLite and PostgreSQL.

`install()` must end every migration that touches a guarded table: SQLite rebuilds a table for
most alterations and drops its triggers without a word. `faults()` feeds the system check and the
check of the ledger: it reads what each trigger does and on which table, not its name alone.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from contextlib import contextmanager
from types import MappingProxyType

from django.db.backends.base.base import BaseDatabaseWrapper

GUARDED: Mapping[str, tuple[tuple[str, ...], ...]] = MappingProxyType(
    {
        "inventory_movement": (("id",), ("number",), ("link",), ("key",), ("reverses_id",)),
        "inventory_posting": (("id",), ("movement_id", "line")),
        "inventory_reading": (("id",),),
        "inventory_month": (("id",), ("label",)),
        "inventory_monthbalance": (("id",), ("month_id", "place_id")),
        "inventory_event": (("id",), ("key",), ("link",)),
        "inventory_change": (("id",),),
        "inventory_loadentry": (("id",), ("posting_id",)),
        "inventory_spoiled": (("id",), ("posting_id",)),
    }
)
"""Each guarded table with whatever makes a row of it the only one: a test asks the models."""
MONTH_GUARD = "inventory_movement_month_open"

_APPEND_ONLY = "RAISE EXCEPTION '% is append-only', TG_TABLE_NAME USING ERRCODE = {code}"
_CODE = "'restrict_violation'"
_PG_BODIES = {
    "hingeback_append_only": f"""
    BEGIN
        {_APPEND_ONLY.format(code=_CODE)};
    END
    """,
    "hingeback_month_open": f"""
    BEGIN
        IF EXISTS (SELECT 1 FROM inventory_month WHERE label >= NEW.month) THEN
            RAISE EXCEPTION 'the month of this movement is closed' USING ERRCODE = {_CODE};
        END IF;
        RETURN NEW;
    END
    """,
}


def _sqlite(tables: Mapping[str, Collection[str]]) -> Iterator[tuple[str, str, str]]:
    """Yield the name, the table and the statement of each trigger on SQLite."""
    for table in (table for table in GUARDED if table in tables):
        for action in ("update", "delete"):
            yield (
                f"{table}_no_{action}",
                table,
                # SQLite allows one action to a trigger and has no TRUNCATE; dropping the table is
                # not refused, or no migration could alter it.
                f"BEFORE {action.upper()} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END",
            )
        taken = " OR ".join(
            "(" + " AND ".join(f"{column} = NEW.{column}" for column in columns) + ")"
            for columns in GUARDED[table]
            # A migration of old knows fewer columns; a later one installs anew.
            if set(columns) <= set(tables[table])
        )
        yield (
            f"{table}_no_replace",
            table,
            # INSERT OR REPLACE takes the old row out without a word to the delete trigger, unless
            # the connection asks for recursive triggers: another program's does not.
            f"BEFORE INSERT ON {table} WHEN EXISTS (SELECT 1 FROM {table} WHERE {taken}) "
            f"BEGIN SELECT RAISE(ABORT, '{table} has this row already and is append-only'); END",
        )
    if "inventory_movement" not in tables:
        return
    yield (
        MONTH_GUARD,
        "inventory_movement",
        "BEFORE INSERT ON inventory_movement "
        # Labels such as 2026-03 sort as text in the order of time. `>=` also shuts every month
        # before the last closed one, whether or not that one has a row of its own.
        "WHEN EXISTS (SELECT 1 FROM inventory_month WHERE label >= NEW.month) "
        "BEGIN SELECT RAISE(ABORT, 'the month of this movement is closed'); END",
    )


def _postgresql(tables: Collection[str]) -> Iterator[tuple[str, str, str]]:
    """Yield the name, the table and the definition of each trigger on PostgreSQL.

    It knows no REPLACE: a conflict that updates meets the trigger for updates.
    """
    refuse = "EXECUTE FUNCTION hingeback_append_only()"
    for table in (table for table in GUARDED if table in tables):
        # A row trigger never fires on TRUNCATE, which therefore gets the second one.
        yield (
            f"{table}_no_update",
            table,
            f"BEFORE DELETE OR UPDATE ON {table} FOR EACH ROW {refuse}",
        )
        yield (
            f"{table}_no_delete",
            table,
            f"BEFORE TRUNCATE ON {table} FOR EACH STATEMENT {refuse}",
        )
    if "inventory_movement" not in tables:
        return
    function = "EXECUTE FUNCTION hingeback_month_open()"
    rule = f"BEFORE INSERT ON inventory_movement FOR EACH ROW {function}"
    yield MONTH_GUARD, "inventory_movement", rule


def _wanted(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """Name -> table and definition of every trigger that must exist in the live database.

    A table that an earlier migration still knew by another name is guarded by the migration that
    renames it.
    """
    with connection.cursor() as cursor:
        there = set(connection.introspection.table_names(cursor))
        if connection.vendor == "postgresql":
            return {name: (table, rule) for name, table, rule in _postgresql(there)}
        columns: dict[str, set[str]] = {}
        for table in (table for table in GUARDED if table in there):
            cursor.execute(f"SELECT name FROM pragma_table_info('{table}')")
            columns[table] = {name for (name,) in cursor.fetchall()}
    return {name: (table, rule) for name, table, rule in _sqlite(columns)}


def install(connection: BaseDatabaseWrapper) -> None:
    """Create what is missing, and again what is not as it must be; safe to repeat."""
    wanted = _wanted(connection)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for function, body in _PG_BODIES.items():
                cursor.execute(
                    f"CREATE OR REPLACE FUNCTION {function}() RETURNS trigger "
                    f"LANGUAGE plpgsql AS $${body}$$"
                )
        for stray, elsewhere in _on_wrong_table(connection, wanted):
            _drop(connection, stray, elsewhere)
        for name, (table, rule) in wanted.items():
            if connection.vendor == "postgresql":
                # Keeps what somebody switched off as it is: dropped, it comes back switched on.
                cursor.execute(f"DROP TRIGGER IF EXISTS {name} ON {table}")
            else:
                cursor.execute(f"DROP TRIGGER IF EXISTS {name}")
            cursor.execute(f"CREATE TRIGGER {name} {rule}")


def remove(connection: BaseDatabaseWrapper) -> None:
    """Drop the triggers: for a migration's way back, and for the flush of a test database."""
    wanted = _wanted(connection)
    for name, (table, *_rest) in _there(connection).items():
        if name in wanted:
            _drop(connection, name, table)


@contextmanager
def lifted(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """Take the guards away for a step that seals rows anew; must run inside a transaction."""
    remove(connection)
    yield
    install(connection)


def _drop(connection: BaseDatabaseWrapper, name: str, table: str) -> None:
    # PostgreSQL names a trigger within its table, SQLite within the whole database.
    on = f" ON {table}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on}")


def _on_wrong_table(
    connection: BaseDatabaseWrapper, wanted: Mapping[str, tuple[str, str]]
) -> list[tuple[str, str]]:
    return [
        (name, table)
        for name, (table, *_rest) in _there(connection).items()
        if name in wanted and wanted[name][0] != table
    ]


def _there(connection: BaseDatabaseWrapper) -> dict[str, tuple[str, str]]:
    """Name -> table and definition of every trigger in the live database, ours or not."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT t.tgname, c.relname, pg_get_triggerdef(t.oid), t.tgenabled "
                "FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
                "WHERE NOT t.tgisinternal AND c.relnamespace = current_schema()::regnamespace"
            )
            return {
                name: (table, _plain(rule, name) + ("" if state in "OA" else " (switched off)"))
                for name, table, rule, state in cursor.fetchall()
            }
        cursor.execute("SELECT name, tbl_name, sql FROM sqlite_master WHERE type = 'trigger'")
        return {name: (table, _plain(rule, name)) for name, table, rule in cursor.fetchall()}


def _plain(statement: str, name: str) -> str:
    """Return a definition without its name, and without the schema that PostgreSQL writes."""
    return statement.removeprefix(f"CREATE TRIGGER {name} ").replace(" ON public.", " ON ")


def faults(connection: BaseDatabaseWrapper) -> list[str]:
    """Say what is wrong with the guards: missing, changed, on another table, or not ours."""
    wanted, there = _wanted(connection), _there(connection)
    found = [
        f"{name} is missing" if name not in there else f"{name} is not as it must be"
        for name, rule in wanted.items()
        if there.get(name) != rule
    ]
    found += [
        f"{name} on {table} is none of ours"
        for name, (table, _rule) in there.items()
        if table in GUARDED and name not in wanted
    ]
    return sorted(found + _changed_functions(connection))


def _changed_functions(connection: BaseDatabaseWrapper) -> list[str]:
    if connection.vendor != "postgresql":
        return []
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT proname, prosrc FROM pg_proc "
            "WHERE proname = ANY(%s) AND pronamespace = current_schema()::regnamespace",
            [list(_PG_BODIES)],
        )
        there = dict(cursor.fetchall())
    return [
        f"{name} is not as it must be" for name in _PG_BODIES if there.get(name) != _PG_BODIES[name]
    ]


def names(connection: BaseDatabaseWrapper) -> set[str]:
    """Return the name of every trigger that must exist in this database."""
    return set(_wanted(connection))
