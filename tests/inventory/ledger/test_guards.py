"""The database refuses to change what is written once, whatever program opens it and however."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import IntegrityError, connection, transaction
from django.db.models import UniqueConstraint

from inventory import triggers
from inventory.checks import guards_are_installed
from inventory.ledger.rules import ledger
from inventory.months import rules as months
from tests.inventory import month_makers as made
from tests.inventory.month_makers import DEC_2, NOV
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db
on_sqlite = pytest.mark.skipif("connection.vendor != 'sqlite'", reason="only SQLite replaces")


@pytest.fixture
def books(shop: Shop) -> Shop:
    made.furnished_october(shop)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=DEC_2, by=None)
    twice = made.weighed_in("F-TWICE", 7_000, at_=NOV)
    ledger.reverse(key=key(), movement=twice, reason="typed twice", at=NOV)
    return shop


def run(statement: str) -> None:
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)


def columns(table: str) -> list[str]:
    with connection.cursor() as cursor:
        described = connection.introspection.get_table_description(cursor, table)
    return [column.name for column in described]


def unique_columns(table: str) -> set[tuple[str, ...]]:
    (model,) = (one for one in apps.get_models() if one._meta.db_table == table)
    found = {(f.column,) for f in model._meta.local_fields if f.unique or f.primary_key}
    for one in model._meta.constraints:
        if isinstance(one, UniqueConstraint) and one.condition is None:
            found.add(tuple(model._meta.get_field(name).column for name in one.fields))
    return found


@pytest.mark.parametrize("table", triggers.GUARDED)
def test_whatever_makes_a_guarded_row_the_only_one_is_guarded(table: str) -> None:
    assert set(triggers.GUARDED[table]) == unique_columns(table)


@on_sqlite
@pytest.mark.parametrize("table", triggers.GUARDED)
def test_a_row_cannot_be_replaced_by_any_of_its_keys(books: Shop, table: str) -> None:
    all_of_them = columns(table)
    # A column may be called as a word of SQL is.
    named = ", ".join(f'"{one}"' for one in all_of_them)
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT count(*) FROM {table}")
        if not cursor.fetchone()[0]:
            pytest.skip(
                "the story that fills this table is told elsewhere; its guard is made alike"
            )
    for key_columns in triggers.GUARDED[table]:
        # The old row again, with no key kept but this one.
        fresh = {"id": "NULL", "key": "hex(randomblob(16))", "number": "999", "label": "'2031-01'"}
        fresh |= {"month": "'2026-11'"}
        fresh |= {"reverses_id": "NULL", "line": "77"}
        values = [
            f'"{one}"' if one in key_columns or one not in fresh else fresh[one]
            for one in all_of_them
        ]
        for verb in ("INSERT OR REPLACE", "REPLACE", "INSERT OR IGNORE", "INSERT"):
            sql = f"{verb} INTO {table} ({named}) SELECT {', '.join(values)} "
            first = next((c for c in key_columns if c != "id"), "id")
            with pytest.raises(IntegrityError):
                run(f"{sql} FROM {table} WHERE {first} IS NOT NULL LIMIT 1")


def test_guards_are_in_order_on_a_migrated_database() -> None:
    assert triggers.faults(connection) == []
    assert guards_are_installed(["default"]) == []


def change_guard(name: str, table: str) -> None:
    """Put a trigger of the same name there that does nothing."""
    if connection.vendor == "postgresql":
        run(f"DROP TRIGGER {name} ON {table}")
        run(
            "CREATE FUNCTION of_no_use() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RETURN NEW; END $$"
        )
        run(
            f"CREATE TRIGGER {name} BEFORE DELETE OR UPDATE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION of_no_use()"
        )
    else:
        run(f"DROP TRIGGER {name}")
        run(f"CREATE TRIGGER {name} BEFORE UPDATE ON {table} BEGIN SELECT 1; END")


def test_a_guard_that_does_nothing_is_seen_and_mended() -> None:
    name = "inventory_event_no_update"
    change_guard(name, "inventory_event")
    assert triggers.faults(connection) == [f"{name} is not as it must be"]
    assert guards_are_installed(["default"])
    call_command("guardledger")
    assert triggers.faults(connection) == []


def test_a_guard_of_the_right_name_on_another_table_is_seen_and_mended() -> None:
    name = "inventory_event_no_update"
    on = " ON inventory_event" if connection.vendor == "postgresql" else ""
    run(f"DROP TRIGGER {name}{on}")
    change = "BEFORE UPDATE ON inventory_balance "
    if connection.vendor == "postgresql":
        change += "FOR EACH ROW EXECUTE FUNCTION hingeback_append_only()"
    else:
        change += "BEGIN SELECT RAISE(ABORT, 'inventory_event is append-only'); END"
    run(f"CREATE TRIGGER {name} {change}")
    assert triggers.faults(connection)
    call_command("guardledger")
    assert triggers.faults(connection) == []


def test_a_strange_trigger_on_a_guarded_table_is_named() -> None:
    if connection.vendor == "postgresql":
        run(
            "CREATE TRIGGER helpful AFTER INSERT ON inventory_movement "
            "FOR EACH ROW EXECUTE FUNCTION hingeback_append_only()"
        )
    else:
        run("CREATE TRIGGER helpful AFTER INSERT ON inventory_movement BEGIN SELECT 1; END")
    assert triggers.faults(connection) == ["helpful on inventory_movement is none of ours"]


@pytest.mark.skipif("connection.vendor != 'postgresql'", reason="SQLite cannot switch one off")
def test_a_guard_that_is_switched_off_or_hollowed_out_is_seen() -> None:
    run("ALTER TABLE inventory_event DISABLE TRIGGER inventory_event_no_update")
    assert triggers.faults(connection) == ["inventory_event_no_update is not as it must be"]
    run(
        "CREATE OR REPLACE FUNCTION hingeback_month_open() RETURNS trigger LANGUAGE plpgsql AS "
        "$$ BEGIN RETURN NEW; END $$"
    )
    assert "hingeback_month_open is not as it must be" in triggers.faults(connection)
    call_command("guardledger")
    assert triggers.faults(connection) == []
