"""Chain what stands, movements and events as they were written, and say so in an event.

Their order is that of their numbers, merged by the moments at which they were written. What was
changed before this day is chained as it stands: no chain made afterwards can tell.
"""

from __future__ import annotations

import heapq
import uuid
from datetime import datetime
from typing import Any

from django.apps.registry import Apps
from django.db import migrations
from django.db.backends.base.schema import BaseDatabaseSchemaEditor
from django.utils import timezone

from inventory import triggers
from inventory.chain import queries, sums

BATCH = 2000


class _Running:
    """The latest moment so far: what is told out of its time must not come before its number."""

    def __init__(self) -> None:
        self.at: datetime | None = None

    def moment(self, link: Any) -> datetime:
        at = queries.moment(link)
        self.at = at if self.at is None else max(self.at, at)
        return self.at


def _keyed(links: Any, rank: int) -> Any:
    running = _Running()
    for link in links:
        yield running.moment(link), rank, link


def chain(apps: Apps, editor: BaseDatabaseSchemaEditor) -> None:
    movement, event, counter = (
        apps.get_model("inventory", name) for name in ("Movement", "Event", "Counter")
    )
    streams = (
        _keyed(queries.movements(movement, order="number"), 0),
        _keyed(queries.events(event, order="pk"), 1),
    )
    previous, position, tables = "", 0, {sums.MOVEMENT: movement, sums.EVENT: event}
    counts = dict.fromkeys(tables, 0)
    # Positions and digests only, a list a table: rows are not changed while they are being read.
    found: dict[str, list[tuple[int, str, int]]] = {kind: [] for kind in tables}
    for _at, _rank, link in heapq.merge(*streams, key=lambda one: one[:2]):
        position += 1
        counts[link.kind] += 1
        previous = sums.digest(link.kind, position, previous, link.content)
        found[link.kind].append((position, previous, link.pk))
    if not position:
        return
    triggers.remove(editor.connection)
    for kind, rows in found.items():
        table = tables[kind]._meta.db_table
        with editor.connection.cursor() as cursor:
            for start in range(0, len(rows), BATCH):
                cursor.executemany(
                    f"UPDATE {table} SET link = %s, digest = %s WHERE id = %s",
                    rows[start : start + BATCH],
                )
    _say_so(event, position, previous, counts)
    counter.objects.update_or_create(name=queries.CHAIN, defaults=_head(event))
    # The guards come back with the next migration, which rebuilds the tables once more.


def _say_so(event: Any, position: int, previous: str, counts: dict[str, int]) -> None:
    row = event(
        key=uuid.uuid4(),
        name="chain.begun",
        subject="chain",
        at=timezone.now(),
        fingerprint=sums.of_row(["chain.begun", position, previous]),
        detail={"of_movements": counts[sums.MOVEMENT], "of_events": counts[sums.EVENT]},
        witness={},
        link=position + 1,
    )
    content = [getattr(row, name) for name in sums.EVENT_FIELDS]
    row.digest = sums.digest(sums.EVENT, row.link, previous, content)
    row.save(force_insert=True)


def _head(event: Any) -> dict[str, Any]:
    last = event.objects.order_by("-link").first()
    return {"last": last.link, "digest": last.digest}


class Migration(migrations.Migration):
    dependencies = [("inventory", "0021_links_of_the_chain")]
    operations = [migrations.RunPython(chain, migrations.RunPython.noop)]
