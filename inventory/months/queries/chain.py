"""The hash that chains a month to the one before it, over its canonical lines. Reads only."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from datetime import UTC
from typing import Any

from inventory.models import Movement, Place, Posting

# A field more or less would be another digest for every month that is closed.
_MOVEMENT = (
    "number",
    "kind",
    "subject",
    "happened_at",
    "belongs_to",
    "reverses__number",
    "reason",
    "cost_minor",
    "actor_id",
    "heat",
)


_POSTING = (
    "movement__number",
    "line",
    "source__code",
    "target__code",
    "quantity",
    "reading__typed",
    "reading__mass_mg",
    "reading__scale_id",
)


def digest(label: str, previous: str, held: dict[int, int], frozen: dict[str, Any]) -> str:
    """Return the SHA-256, hex, over the previous digest, the month's movements and what is frozen.
    One JSON line each, sorted keys, no spaces, UTF-8, ended by a line feed: first
    ["month", label, previous], then each movement in order, then balances by place code, then
    what was frozen.
    """
    chain = hashlib.sha256()
    for line in _canonical(label, previous, held, frozen):
        text = json.dumps(line, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        chain.update(text.encode() + b"\n")
    return chain.hexdigest()


def _canonical(
    label: str, previous: str, held: dict[int, int], frozen: dict[str, Any]
) -> Iterator[list[Any]]:
    yield ["month", label, previous]
    for line in _movements(label):
        yield ["movement", *line]
    codes = Place.objects.in_bulk(held)
    # By code: ids differ where the same books are read into another database.
    yield ["balances", *sorted([codes[pk].code, quantity] for pk, quantity in held.items())]
    yield ["frozen", frozen]


def _movements(label: str) -> Iterator[list[Any]]:
    """Yield plain rows: objects of a month's movements would take most of the time of a close."""
    # All postings in one query, put under their movements here.
    lines: dict[int, list[list[Any]]] = {}
    booked = Posting.objects.filter(movement__month=label).order_by("movement__number", "line")
    for number, *facts, typed, mass_mg, scale in booked.values_list(*_POSTING).iterator():
        weighed = None if typed is None else [typed, mass_mg, scale]
        lines.setdefault(number, []).append([*facts, weighed])
    rows = Movement.objects.filter(month=label).order_by("number")
    for number, kind, subject, happened_at, *facts in rows.values_list(*_MOVEMENT).iterator():
        # One spelling, whatever zone a driver returns; `isoformat` alone leaves out microseconds of
        # nought.
        moment = happened_at.astimezone(UTC).isoformat(timespec="microseconds")
        yield [number, kind, subject, moment, *facts, lines.get(number, [])]
