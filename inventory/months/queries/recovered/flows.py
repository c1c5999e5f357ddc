"""What a month did to each place: opening, flows by column, closing."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from inventory.months.queries.entries import Entry
from inventory.months.queries.recovered.shapes import Cell, Flows


def of_places(
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
