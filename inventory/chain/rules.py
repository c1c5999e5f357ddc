"""Takes the next place in the chain, and gives it back when the transaction fails.

One row of the counters is the end of the chain. Whoever writes a movement or an event holds it
until the transaction ends, so that no two links follow on the same one. It is taken before the
balances are, always, so that two writers never wait for each other.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.models import F
from django.utils.module_loading import import_string

from inventory import triggers
from inventory.chain import queries, sums
from inventory.chain.queries import CHAIN, Head, Link
from inventory.models import Counter, Event, Movement, Posting

NUMBERS = "movement"


@dataclass(frozen=True, slots=True)
class Place:
    """The next place in the chain, held by this transaction; `number` is the next movement's."""

    position: int
    previous: str
    number: int


def hold() -> Place:
    """Hold the end of the chain. Must run inside a transaction.

    Numbers have no gaps: a sequence of the database would be faster, but leaves a gap behind each
    rollback, and an auditor asks what was in the gap.
    """
    rows = _rows()
    if len(rows) < 2:
        # A row that is not there cannot be locked. Two callers may both be the first:
        # `get_or_create` lets both go on with one row.
        for name in (CHAIN, NUMBERS):
            Counter.objects.get_or_create(name=name)
        rows = _rows()
    chain, numbers = rows[CHAIN], rows[NUMBERS]
    return Place(chain.last + 1, chain.digest, numbers.last + 1)


def _rows() -> dict[str, Counter]:
    # SQLite ignores the lock: there the transaction began IMMEDIATE, and no other writes beside it.
    named = Counter.objects.filter(name__in=[CHAIN, NUMBERS]).order_by("name")
    return {row.name: row for row in named.select_for_update()}


def link_movement(place: Place, movement: Movement, lines: Iterable[Posting]) -> None:
    """Fill in number, position and digest of a movement that is about to be written.

    The chain goes on behind it at once; the caller writes the row in the same transaction.
    """
    movement.number = place.number
    movement.link = place.position
    fields = [_value(movement, name) for name in sums.MOVEMENT_FIELDS]
    content = [*fields, [_line(posting) for posting in lines]]
    movement.digest = sums.digest(sums.MOVEMENT, place.position, place.previous, content)
    Counter.objects.filter(name__in=[CHAIN, NUMBERS]).update(
        last=F("last") + 1, digest=movement.digest
    )


def _value(movement: Movement, name: str) -> Any:
    if name == "reverses__number":
        return movement.reverses.number if movement.reverses else None
    return getattr(movement, name)


def _line(posting: Posting) -> list[Any]:
    places = [posting.source.code, posting.target.code]
    reading = posting.reading
    weighed = [getattr(reading, name) for name in sums.READING_FIELDS] if reading else None
    return [posting.line, *places, posting.quantity, posting.heat, weighed]


def link_event(event: Event) -> None:
    """Fill in position, witness and digest of an event that is about to be written."""
    place = hold()
    event.link = place.position
    event.witness = witness(event.subject)
    content = [getattr(event, name) for name in sums.EVENT_FIELDS]
    event.digest = sums.digest(sums.EVENT, place.position, place.previous, content)
    Counter.objects.filter(name=CHAIN).update(last=F("last") + 1, digest=event.digest)


def witness(subject: str) -> dict[str, str]:
    """Return row -> digest of what stands beside the ledger, for the rows that a subject names."""
    found: dict[str, str] = {}
    for path in settings.WITNESSES:
        found |= {
            row: sums.of_row(facts) for row, facts in import_string(f"{path}.rows_of")(subject)
        }
    return found


def seal_anew(*, after: int = 0) -> Head:
    """Work out the digests behind a position again, from the rows as they stand.

    For rows that came in by another way than the rules: told again by the demo, or chained for the
    first time. Takes the guards away meanwhile; must run inside a transaction.
    """
    previous = queries.digest_at(after)
    position = after
    with triggers.lifted(connection):
        batch: list[tuple[Link, str]] = []
        for link in queries.links(after=after):
            previous = sums.digest(link.kind, link.position, previous, link.content)
            position = link.position
            if previous != link.digest:
                batch.append((link, previous))
        _write_digests(batch)
    Counter.objects.get_or_create(name=CHAIN)
    Counter.objects.filter(name=CHAIN).update(last=position, digest=previous)
    return Head(position, previous)


def witness_anew(*, after: int = 0) -> None:
    """Let the last event behind a position that knows a row bear witness to it as it stands.

    For a story that was told with other dates than its events kept. Must run before `seal_anew`.
    """
    last: dict[str, int] = {}
    for link in queries.events(Event, after=after):
        last |= dict.fromkeys(link.fields["witness"], link.pk)
    found: dict[int, dict[str, str]] = {}
    for path in settings.WITNESSES:
        for row, facts in import_string(f"{path}.rows")():
            if row in last:
                found.setdefault(last[row], {})[row] = sums.of_row(facts)
    with triggers.lifted(connection), connection.cursor() as cursor:
        for event in Event.objects.filter(pk__in=found):
            witness = json.dumps(event.witness | found[event.pk])
            table = Event._meta.db_table
            cursor.execute(
                f"UPDATE {table} SET witness = %s WHERE id = %s",  # noqa: S608
                [witness, event.pk],
            )


def _write_digests(batch: Sequence[tuple[Link, str]]) -> None:
    for kind, table in (
        (sums.MOVEMENT, Movement._meta.db_table),
        (sums.EVENT, Event._meta.db_table),
    ):
        rows = [(digest, link.pk) for link, digest in batch if link.kind == kind]
        if rows:
            with connection.cursor() as cursor:
                cursor.executemany(f"UPDATE {table} SET digest = %s WHERE id = %s", rows)  # noqa: S608
