"""An outsider with the file: 66 changes told one by one, and 60 drawn at random, are all found.

The guards are dropped first, as whoever has the file can. Each change is made to the books of a
told story and taken back again. What no check can find is told at the end: somebody who rewrites
all and seals it anew is caught by the head of the chain alone, where it was kept outside.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from random import Random
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction

from deploy.demo.play import play
from inventory import triggers
from inventory.chain import queries as links
from inventory.chain import rules as chain
from inventory.chain.queries import Head
from inventory.models import Event, Month, Movement
from inventory.months.queries import audit

pytestmark = [
    pytest.mark.django_db,
    pytest.mark.skipif(connection.vendor != "sqlite", reason="an outsider has a file"),
]
NOW = datetime(2026, 3, 18, 11, 0, tzinfo=UTC)
CLOSED, OPEN = "2026-02", "2026-03"
# Building every report again takes its time and is tried where a report alone would show it.
QUICK = [name for name in audit.CHECKS if name != "closed-reports-unchanged"]


@pytest.fixture(scope="module")
def books(
    django_db_setup: None, django_db_blocker: Any, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[None]:
    """Two closed months and an open one, in a transaction that is rolled back after this module."""
    del django_db_setup
    with django_db_blocker.unblock(), transaction.atomic():
        play(now=NOW, logins_file=tmp_path_factory.mktemp("demo") / "l.txt", closed_months=2)
        yield
        transaction.set_rollback(True)


def run(*statements: str) -> int:
    """Run the statements; returns how many rows they touched in all."""
    with connection.cursor() as cursor:
        # The foreign keys of this transaction are checked at its end, which never comes.
        return sum(cursor.execute(statement).rowcount for statement in statements)


def found() -> list[str]:
    return [str(outcome) for outcome in audit.check(QUICK) if not outcome.ok]


def tampered(*statements: str) -> list[str]:
    """What the checks say after an outsider's statements, which are taken back."""
    with transaction.atomic():
        triggers.remove(connection)
        touched = run(*statements)
        triggers.install(connection)
        assert touched, "this changes nothing"
        said = found()
        transaction.set_rollback(True)
    return said


def one(table: str, where: str = "1", offset: int = 3) -> str:
    """SQL for the id of one row, not the first."""
    return f"(SELECT id FROM {table} WHERE {where} ORDER BY id LIMIT 1 OFFSET {offset})"


def of_month(month: str, kind: str = "weigh_in") -> str:
    return f"(SELECT id FROM inventory_movement WHERE month = '{month}' AND kind = '{kind}')"


def set_movement(month: str, change: str, kind: str = "weigh_in") -> list[str]:
    row = one("inventory_movement", f"id IN {of_month(month, kind)}", 1)
    return [f"UPDATE inventory_movement SET {change} WHERE id = {row}"]


def set_posting(month: str, change: str) -> list[str]:
    row = one("inventory_posting", f"movement_id IN {of_month(month)}", 1)
    return [f"UPDATE inventory_posting SET {change} WHERE id = {row}"]


def set_reading(month: str, change: str) -> list[str]:
    posting = one("inventory_posting", f"movement_id IN {of_month(month)}", 1)
    reading = f"(SELECT reading_id FROM inventory_posting WHERE id = {posting})"
    return [f"UPDATE inventory_reading SET {change} WHERE id = {reading}"]


def set_month(change: str) -> list[str]:
    return [f"UPDATE inventory_month SET {change} WHERE label = '{CLOSED}'"]


def set_row(table: str, change: str, where: str = "1", offset: int = 3) -> list[str]:
    return [f"UPDATE {table} SET {change} WHERE id = {one(table, where, offset)}"]


CLOSE = f"name = 'months.close' AND subject = '{CLOSED}'"
LAST = "(SELECT max(number) FROM inventory_movement)"
LAST_ID = f"(SELECT id FROM inventory_movement WHERE number = {LAST})"
BALANCES = f"(SELECT id FROM inventory_month WHERE label = '{CLOSED}')"
ADDED = """INSERT INTO inventory_posting (movement_id, line, source_id, target_id, quantity)
    SELECT movement_id, 9, source_id, target_id, 5 FROM inventory_posting WHERE id = {row}"""
MIDDLE = "(SELECT number FROM inventory_movement WHERE month = '{month}' LIMIT 1 OFFSET 5)"
MIDDLE_ID = "(SELECT id FROM inventory_movement WHERE number = {middle})"
MADE_UP = f"""INSERT INTO inventory_movement (number, link, digest, key, fingerprint, kind, subject,
    actor_id, happened_at, recorded_at, month, belongs_to, reason, cost_minor)
    SELECT {LAST} + 1, {{link}}, digest, hex(randomblob(16)), fingerprint, kind, subject, actor_id,
    happened_at, recorded_at, month, belongs_to, reason, cost_minor
    FROM inventory_movement WHERE number = {LAST}"""
SOME_EVENT = one("inventory_event", offset=20)
NEXT_LINK = "(SELECT last + 1 FROM inventory_counter WHERE name = 'chain')"


def deleted(month: str) -> list[str]:
    row = MIDDLE_ID.format(middle=MIDDLE.format(month=month))
    return [
        f"DELETE FROM inventory_posting WHERE movement_id = {row}",
        f"DELETE FROM inventory_movement WHERE id = {row}",
    ]


GAP = "(SELECT min(number) FROM inventory_movement m WHERE NOT EXISTS (SELECT 1 FROM "
GAP += "inventory_movement WHERE number = m.number + 1))"
DAY = "datetime({column}, '-1 day')"
OTHER_PLACE = "(SELECT id FROM inventory_place WHERE kind = 'hold')"

CLOSED_ROWS = {
    "posting-mass": set_posting(CLOSED, "quantity = quantity + 1"),
    "posting-source": set_posting(CLOSED, f"source_id = {OTHER_PLACE}"),
    "posting-target": set_posting(CLOSED, f"target_id = {OTHER_PLACE}"),
    "posting-without-reading": set_posting(CLOSED, "reading_id = NULL"),
    "posting-deleted": [f"DELETE FROM inventory_posting WHERE movement_id IN {of_month(CLOSED)}"],
    "posting-added": [ADDED.format(row=one("inventory_posting"))],
    "reading-mass": set_reading(CLOSED, "mass_mg = mass_mg + 1"),
    "reading-typed": set_reading(CLOSED, "typed = '1 g'"),
    "reading-time": set_reading(CLOSED, f"at = {DAY.format(column='at')}"),
    "reading-doubt": set_reading(CLOSED, "u_own_ug = 1"),
    "reading-flags": set_reading(CLOSED, "flags = '[\"check_overdue\"]'"),
    "movement-day": set_movement(CLOSED, f"happened_at = {DAY.format(column='happened_at')}"),
    "movement-recorded": set_movement(CLOSED, f"recorded_at = {DAY.format(column='recorded_at')}"),
    "movement-subject": set_movement(CLOSED, "subject = 'F-NONE'"),
    "movement-reason": set_movement(CLOSED, "reason = 'as agreed'"),
    "movement-cost": set_movement(CLOSED, "cost_minor = 7"),
    "movement-actor": set_movement(CLOSED, "actor_id = actor_id + 1"),
    "movement-fingerprint": set_movement(CLOSED, "fingerprint = 'f00d'"),
    "month-digest": set_month("digest = previous_digest"),
    "month-closed-at": set_month(f"closed_at = {DAY.format(column='closed_at')}"),
    "month-closed-by": set_month("closed_by_id = closed_by_id + 1"),
    "month-last-number": set_month("last_number = last_number + 1"),
    "month-figures": set_month(
        """figures = replace(figures, '"currency": "EUR"', '"currency": "USD"')"""
    ),
    "month-balance": [
        f"UPDATE inventory_monthbalance SET quantity = 1 WHERE month_id = {BALANCES}"
    ],
    "month-deleted": [
        f"DELETE FROM inventory_monthbalance WHERE month_id = {BALANCES}",
        f"DELETE FROM inventory_month WHERE label = '{CLOSED}'",
    ],
    "month-deleted-with-its-event": [
        f"DELETE FROM inventory_monthbalance WHERE month_id = {BALANCES}",
        f"DELETE FROM inventory_month WHERE label = '{CLOSED}'",
        f"DELETE FROM inventory_event WHERE {CLOSE}",
    ],
}
OPEN_ROWS = {
    "posting-and-cache": [
        *set_posting(OPEN, "quantity = quantity + 1000000"),
        "UPDATE inventory_balance SET quantity = quantity - 1000000 WHERE place_id = "
        "(SELECT id FROM inventory_place WHERE kind = 'wearers' AND unit = 'mg')",
        "UPDATE inventory_balance SET quantity = quantity + 1000000 WHERE place_id = "
        "(SELECT id FROM inventory_place WHERE kind = 'arrivals')",
    ],
    "cost": set_movement(OPEN, "cost_minor = 9"),
    "actor": set_movement(OPEN, "actor_id = NULL"),
    "day": set_movement(OPEN, f"happened_at = {DAY.format(column='happened_at')}"),
    "reading-unlike-posting": set_reading(OPEN, "mass_mg = mass_mg + 1000"),
    "readings-swapped": [
        "UPDATE inventory_posting SET reading_id = (SELECT max(reading_id) FROM inventory_posting) "
        f"WHERE id = {one('inventory_posting', f'movement_id IN {of_month(OPEN)}')}"
    ],
    "last-deleted": [
        f"DELETE FROM inventory_posting WHERE movement_id = {LAST_ID}",
        f"DELETE FROM inventory_movement WHERE id = {LAST_ID}",
        "UPDATE inventory_counter SET last = last - 1 WHERE name = 'movement'",
    ],
    "middle-deleted-and-renumbered": [
        *deleted(OPEN),
        # Far away first: no number may stand there twice in between.
        f"UPDATE inventory_movement SET number = number + 99999 WHERE number > {GAP}",
        "UPDATE inventory_movement SET number = number - 100000 WHERE number > 99999",
        "UPDATE inventory_counter SET last = last - 1 WHERE name = 'movement'",
    ],
    "fitted-into-no-frame": set_movement(OPEN, "subject = 'F-NONE'", "fit_part"),
    "line-added": [ADDED.format(row=one("inventory_posting", f"movement_id IN {of_month(OPEN)}"))],
    "cache": ["UPDATE inventory_balance SET quantity = quantity + 1 WHERE boundary"],
    "made-up-behind-the-end": [MADE_UP.format(link=NEXT_LINK)],
    "made-up-in-between": [
        MADE_UP.format(link=f"(SELECT link FROM inventory_event WHERE id = {SOME_EVENT})"),
        f"DELETE FROM inventory_event WHERE id = {SOME_EVENT}",
    ],
}
EVENTS = {
    "event-deleted": [f"DELETE FROM inventory_event WHERE id = {one('inventory_event')}"],
    "event-moment": set_row("inventory_event", f"at = {DAY.format(column='at')}"),
    "event-detail": set_row("inventory_event", "detail = '{\"movement\": 1}'"),
}
FRAME, REQUEST, BATCH = "returns_returnedframe", "returns_request", "returns_productionbatch"
LOT, RUN = "inventory_lot", "inventory_grindrun"
GROUND = "id IN (SELECT lot_id FROM inventory_grindrun)"
AROUND = {
    "lot-heat": set_row(LOT, "heat = '[[9, 1000000]]'", GROUND, 0),
    "lot-origin": set_row(LOT, "origin = 'post_consumer_return'", "origin = 'in_process'", 0),
    "lot-melt-flow": set_row(LOT, "melt_flow_mg_per_10min = 1", GROUND, 0),
    "run-minutes": set_row(RUN, "minutes = 1", "minutes > 1", 0),
    "run-second-person": set_row(RUN, "confirmed_by_id = NULL", "state = 'finished'", 0),
    "run-proposed-at": set_row(RUN, f"proposed_at = {DAY.format(column='proposed_at')}", "1", 0),
    "batch-pieces": set_row(
        BATCH, "pieces = pieces + 10", "code IN (SELECT subject FROM inventory_event)", 0
    ),
    "batch-heat": set_row(
        BATCH, "heat = '[[1, 1000000]]'", "code IN (SELECT subject FROM inventory_event)", 0
    ),
    "sold-pieces": set_row("returns_soldunits", "pieces = pieces + 1"),
    "sold-deleted": [
        "DELETE FROM returns_soldunits WHERE id = (SELECT max(id) FROM returns_soldunits)"
    ],
    "frame-state": set_row(FRAME, "state = 'ground'", "state <> 'ground'", 0),
    "frame-wish": set_row(
        FRAME, "wish = CASE wish WHEN 'regrind' THEN 'post_back' ELSE 'regrind' END"
    ),
    "frame-credited": set_row(FRAME, "boxed_mg = boxed_mg + 5"),
    "frame-deleted": [
        f"DELETE FROM {FRAME} WHERE id = {one(FRAME)}",
    ],
    "request-wish": set_row(
        REQUEST, "wish = CASE wish WHEN 'regrind' THEN 'post_back' ELSE 'regrind' END", "wish <> ''"
    ),
    "price": ["UPDATE inventory_classprice SET price_minor_per_kg = price_minor_per_kg + 1"],
}
TOLD = {
    f"{group}:{name}": statements
    for group, listed in {
        "closed": CLOSED_ROWS,
        "open": OPEN_ROWS,
        "events": EVENTS,
        "around": AROUND,
    }.items()
    for name, statements in listed.items()
}
NO_CHANGE = "BEFORE UPDATE ON inventory_event BEGIN SELECT RAISE(ABORT, 'x'); END"
GUARDS = {
    "dropped": ["DROP TRIGGER inventory_posting_no_update"],
    "of-no-use": [
        "DROP TRIGGER inventory_posting_no_delete",
        "CREATE TRIGGER inventory_posting_no_delete BEFORE DELETE ON inventory_posting "
        "BEGIN SELECT 1; END",
    ],
    "on-another-table": [
        "DROP TRIGGER inventory_event_no_update",
        "CREATE TRIGGER inventory_event_no_update BEFORE UPDATE ON inventory_counter "
        "BEGIN SELECT RAISE(ABORT, 'inventory_event is append-only'); END",
    ],
    "a-strange-one": [
        "CREATE TRIGGER quiet AFTER INSERT ON inventory_movement BEGIN DELETE FROM "
        "inventory_balance; END"
    ],
}
COLUMNS = "SELECT group_concat(name) FROM pragma_table_info('{table}')"
REPLACED = ("inventory_month", "inventory_event", "inventory_posting", "inventory_movement")


def test_there_are_66_that_were_told() -> None:
    assert len(TOLD) + len(GUARDS) + len(REPLACED) == 66


def test_sound_books_are_sound(books: None) -> None:
    assert [str(outcome) for outcome in audit.check() if not outcome.ok] == []
    rows = next(one for one in audit.check(["rows-as-told"]))
    assert rows.looked_at > 50


@pytest.mark.parametrize("name", TOLD)
def test_what_an_outsider_changed_is_found(books: None, name: str) -> None:
    assert tampered(*TOLD[name])


@pytest.mark.parametrize("name", GUARDS)
def test_guards_that_were_changed_are_found(books: None, name: str) -> None:
    with transaction.atomic():
        run(*GUARDS[name])
        assert [line[: len("FAIL guards")] for line in found()] == ["FAIL guards"]
        transaction.set_rollback(True)


@pytest.mark.parametrize("table", REPLACED)
def test_no_row_is_replaced_while_the_guards_stand(books: None, table: str) -> None:
    with connection.cursor() as cursor:
        cursor.execute(COLUMNS.format(table=table))
        names = cursor.fetchone()[0]
    with pytest.raises(IntegrityError), transaction.atomic():
        run(f"INSERT OR REPLACE INTO {table} ({names}) SELECT {names} FROM {table} LIMIT 1")


# 60 changes of one field each, and deletions, drawn from a seed. Left out are the ids, which the
# chain does not know (it names a row by its number, key or code), and what nobody relies on.
FIELDS = {
    "inventory_movement": (
        "number kind subject happened_at recorded_at month belongs_to reason cost_minor actor_id "
        "key fingerprint digest link reverses_id heat"
    ),
    "inventory_posting": "line source_id target_id quantity movement_id",
    "inventory_event": "name subject at actor_id key fingerprint detail witness digest link",
    "inventory_month": "label closed_at previous_digest digest last_number figures",
    "inventory_monthbalance": "quantity place_id",
    FRAME: "wish lenses_back is_stranger weighed_at boxed_mg number",
    RUN: "box_mg minutes proposed_at held_for explanation",
}


def drawn(seed: int) -> list[str]:
    """The statements of one drawn change."""
    chance = Random(seed)  # noqa: S311
    table = chance.choice(sorted(FIELDS))
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT id FROM {table} ORDER BY id")
        row = chance.choice([pk for (pk,) in cursor.fetchall()])
        if chance.random() < 0.15:
            return [f"DELETE FROM {table} WHERE id = {row}"]
        field = chance.choice(FIELDS[table].split())
        cursor.execute(f"SELECT {field}, typeof({field}) FROM {table} WHERE id = {row}")
        (held, kind), high = cursor.fetchone(), chance.randrange(1, 10**6)
    data: Any = f"'{OPEN}-{chance.randrange(10, 29)} 10:00:00'" if field.endswith("at") else None
    if field in {"heat", "detail", "figures", "witness"}:
        data = f"'{{\"drawn\": {high}}}'"
    elif kind == "integer" or (kind == "null" and field.endswith("_id")):
        data = (1 - held) if held in (0, 1) and field.startswith(("is_", "lenses")) else high
    return [f"UPDATE {table} SET {field} = {data or repr(f'x{high}')} WHERE id = {row}"]


@pytest.mark.parametrize("seed", range(60))
def test_what_is_changed_at_random_is_found(books: None, seed: int) -> None:
    assert tampered(*drawn(1400 + seed))


def rewritten(*statements: str) -> tuple[list[str], Head]:
    """What the checks say of an insider who seals all anew, and the head of the chain then."""
    with transaction.atomic():
        triggers.remove(connection)
        run(*statements)
        triggers.install(connection)
        chain.witness_anew()
        chain.seal_anew()
        said, head = found(), links.head()
        transaction.set_rollback(True)
    return said, head


BEYOND = {
    "an actor of the open month": set_movement(OPEN, "actor_id = actor_id + 1"),
    "a frame's wish": AROUND["frame-wish"],
    "a reason of the open month": set_movement(OPEN, "reason = 'as agreed'"),
}


@pytest.mark.parametrize("name", BEYOND)
def test_an_insider_who_seals_all_anew_is_seen_by_the_head_that_was_kept_outside(
    books: None, name: str
) -> None:
    anchored = links.head()
    said, head = rewritten(*BEYOND[name])
    assert said == []
    assert head != anchored


def test_an_insider_who_rewrites_a_closed_month_must_close_it_anew(books: None) -> None:
    said, _head = rewritten(*CLOSED_ROWS["movement-reason"])
    assert any("the close of 2026-02 froze" in line for line in said)
    assert any(
        line.startswith("FAIL closed-months-unchanged: 2026-02: the digest") for line in said
    )


def test_the_end_of_the_chain_cut_off_cleanly_is_seen_by_the_head_alone(books: None) -> None:
    """Whoever puts an older copy in place has books that are sound, and shorter."""
    anchored = links.head()
    event = Event.objects.order_by("-link")[0]
    assert event.link == anchored.position
    before = max(
        Event.objects.order_by("-link")[1].link, Movement.objects.order_by("-link")[0].link
    )
    rows = list(links.links(after=before - 1))
    said = tampered(
        f"DELETE FROM inventory_event WHERE id = {event.pk}",
        f"UPDATE inventory_counter SET last = {before}, digest = '{rows[0].digest}' "
        "WHERE name = 'chain'",
    )
    assert [line for line in said if "FAIL rows-as-told" not in line] == []
    assert Month.objects.exists()
