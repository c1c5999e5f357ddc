"""Reads the chain link by link, in one pass and with flat memory, and where it ends now."""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import groupby
from typing import Any

from inventory.chain import sums
from inventory.models import Counter, Event, Movement

CHAIN = "chain"
"""The counter that keeps the last position and the digest of the last link."""
CHUNK = 2000


@dataclass(frozen=True, slots=True)
class Line:
    """A posting as it stands, with what its places are called. `reading` is as in the chain."""

    line: int
    source_id: int
    target_id: int
    source: str
    target: str
    quantity: int
    heat: list[list[int]] | None
    reading: tuple[Any, ...] | None

    @property
    def content(self) -> list[Any]:
        reading = list(self.reading) if self.reading else None
        return [self.line, self.source, self.target, self.quantity, self.heat, reading]


@dataclass(frozen=True, slots=True)
class MovementLink:
    """A movement as it stands, with its postings in the order of their lines."""

    position: int
    digest: str
    pk: int
    reverses_id: int | None
    fields: dict[str, Any]
    lines: tuple[Line, ...]
    kind = sums.MOVEMENT

    @property
    def content(self) -> list[Any]:
        return [*self.fields.values(), [line.content for line in self.lines]]

    @property
    def words(self) -> str:
        return f"#{self.fields['number']}"


@dataclass(frozen=True, slots=True)
class EventLink:
    """An event as it stands."""

    position: int
    digest: str
    pk: int
    fields: dict[str, Any]
    kind = sums.EVENT

    @property
    def content(self) -> list[Any]:
        return list(self.fields.values())

    @property
    def words(self) -> str:
        return f"event {self.pk} ({self.fields['name']} {self.fields['subject']})"


Link = MovementLink | EventLink


@dataclass(frozen=True, slots=True)
class Head:
    """The end of the chain: how many links there are, and the digest of the last."""

    position: int
    digest: str


def head() -> Head:
    """Return where the chain ends now; position 0 of an empty one."""
    row = Counter.objects.filter(name=CHAIN).first()
    return Head(row.last, row.digest) if row else Head(0, "")


def digest_at(position: int) -> str:
    """Return the digest of a link; "" before the first, and for one that is not there."""
    for model in (Movement, Event):
        digest = model.objects.filter(link=position).values_list("digest", flat=True).first()
        if digest:
            return digest
    return ""


def links(*, after: int = 0) -> Iterator[Link]:
    """Yield every link behind a position, in the order of the chain."""
    streams: list[Iterator[Link]] = [movements(Movement, after=after), events(Event, after=after)]
    yield from heapq.merge(*streams, key=_position)


def _position(link: Link) -> int:
    return link.position


def moment(link: Link) -> datetime:
    """Return when a link was written."""
    at = link.fields["recorded_at" if link.kind == sums.MOVEMENT else "at"]
    assert isinstance(at, datetime)  # noqa: S101
    return at


_HEAD = ("link", "digest", "pk", "reverses_id")
_LINE = (
    "line",
    "source_id",
    "target_id",
    "source__code",
    "target__code",
    "quantity",
    "heat",
    "reading_id",
)


def movements(model: Any, *, after: int = 0, order: str = "link") -> Iterator[MovementLink]:
    """Yield movements with their postings; one without any postings is there as well."""
    names = [
        *_HEAD,
        *sums.MOVEMENT_FIELDS,
        *(f"postings__{name}" for name in _LINE),
        *(f"postings__reading__{name}" for name in sums.READING_FIELDS),
    ]
    rows = model.objects.order_by(order, "number", "postings__line")
    if after:
        rows = rows.filter(link__gt=after)
    width, begin = len(_HEAD), len(_HEAD) + len(sums.MOVEMENT_FIELDS)
    found = rows.values_list(*names).iterator(chunk_size=CHUNK)
    for _pk, group in groupby(found, key=lambda row: row[2]):
        listed = list(group)
        first = listed[0]
        fields = dict(zip(sums.MOVEMENT_FIELDS, first[width:begin], strict=True))
        lines = tuple(_line(row[begin:]) for row in listed if row[begin] is not None)
        yield MovementLink(first[0], first[1], first[2], first[3], fields, lines)


def _line(row: tuple[Any, ...]) -> Line:
    line, source_id, target_id, source, target, quantity, heat, reading_id, *facts = row
    reading = None if reading_id is None else tuple(facts)
    return Line(line, source_id, target_id, source, target, quantity, heat, reading)


def events(model: Any, *, after: int = 0, order: str = "link") -> Iterator[EventLink]:
    """Yield events."""
    rows = model.objects.order_by(order, "pk")
    if after:
        rows = rows.filter(link__gt=after)
    names = ("link", "digest", "pk", *sums.EVENT_FIELDS)
    for position, digest, pk, *facts in rows.values_list(*names).iterator(chunk_size=CHUNK):
        yield EventLink(position, digest, pk, dict(zip(sums.EVENT_FIELDS, facts, strict=True)))
