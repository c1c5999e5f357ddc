"""The postings of a month as plain rows, read once, with the column that each counts in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.models import Place, Posting
from inventory.queries.recovered import columns
from inventory.queries.recovered.shapes import Cell, Flows

MATERIAL_KINDS = frozenset({"box", "lot"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One posting of the month. `sign` is -1 in a reversal.

    `reason` is that of the movement itself, in a reversal that of what it reverses.
    `undoes_earlier` marks the reversal of what was booked in an earlier month, `reverses` is the
    number of what a reversal undoes.
    """

    number: int
    line: int
    kind: str
    subject: str
    sign: int
    source: Place
    target: Place
    quantity: int
    reading_id: int | None
    cost_minor: int
    undoes_earlier: bool
    reason: str
    reverses: int | None = None

    def column(self, place: Place) -> str | None:
        """The column this counts in for one of its two places; None where there is none."""
        there = self.source if place == self.target else self.target
        if place.kind in MATERIAL_KINDS:
            return columns.of_material(self.kind, place.kind, there.kind, place.origin)
        if place.kind == "bin":
            return columns.of_parts(self.kind)
        return columns.of_shelf(self.signed(place))

    def signed(self, place: Place) -> int:
        """The quantity as `place` sees it: positive in, negative out."""
        return self.quantity if place == self.target else -self.quantity


_FIELDS = (
    "movement__number",
    "line",
    "movement__kind",
    "movement__subject",
    "movement__reverses__number",
    "source",
    "target",
    "quantity",
    "reading",
    "movement__cost_minor",
    "movement__reverses__month",
    "movement__reason",
    "movement__reverses__reason",
    "movement__month",
)


def all_places() -> dict[int, Place]:
    """Every place by id, with what its row in the report names."""
    rows = Place.objects.select_related("polymer", "colour", "lot", "part")
    return {place.pk: place for place in rows}


def places_of(rows: QuerySet[Posting]) -> dict[int, Place]:
    """The places that a few postings touch, by id."""
    ends = rows.order_by().values_list("source", "target").distinct()
    return Place.objects.in_bulk({pk for pair in ends for pk in pair})


def of_month(label: str, places: dict[int, Place]) -> tuple[Entry, ...]:
    """All postings booked in a month, in order of movement and line."""
    return read(Posting.objects.filter(movement__month=label), places)


def read(rows: QuerySet[Posting], places: dict[int, Place]) -> tuple[Entry, ...]:
    """Postings as entries, in order of movement and line."""
    ordered = rows.order_by("movement__number", "line")
    return tuple(
        Entry(
            number=row[0],
            line=row[1],
            kind=row[2],
            subject=row[3],
            sign=1 if row[4] is None else -1,
            source=places[row[5]],
            target=places[row[6]],
            quantity=row[7],
            reading_id=row[8],
            cost_minor=row[9],
            undoes_earlier=row[10] is not None and row[10] != row[13],
            reason=row[11] if row[4] is None else row[12],
            reverses=row[4],
        )
        for row in ordered.values_list(*_FIELDS)
    )


def flows(
    entries: Iterable[Entry], opening: dict[int, int], closing: dict[int, int]
) -> dict[int, Flows]:
    """Place id -> its flows, for every place with an entry or with something in it."""
    moved: dict[int, dict[str, list[tuple[int, int]]]] = {}
    for place, column, signed, number in _sides(entries):
        moved.setdefault(place, {}).setdefault(column, []).append((signed, number))
    touched = sorted({*moved, *opening, *closing})
    return {
        place: Flows(
            opening.get(place, 0),
            {column: _cell(parts) for column, parts in sorted(moved.get(place, {}).items())},
            closing.get(place, 0),
        )
        for place in touched
    }


def _sides(entries: Iterable[Entry]) -> Iterator[tuple[int, str, int, int]]:
    for entry in entries:
        for place in (entry.source, entry.target):
            column = entry.column(place)
            if column is not None:
                yield place.pk, column, entry.signed(place), entry.number


def _cell(parts: list[tuple[int, int]]) -> Cell:
    numbers = tuple(dict.fromkeys(number for _signed, number in parts))
    return Cell(sum(signed for signed, _number in parts), numbers)
