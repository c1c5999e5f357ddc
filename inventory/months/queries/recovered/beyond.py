"""What the columns of boxes and lots do not tell: goods by kind and giver, streams, scrap by cause.

Each row is a `Flows` without opening and closing: its cells are masses or pieces of the month, and
a reversal counts against what it takes back. Rows are found by the postings of the month alone, so
that a closed month gives the same figures for ever.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.models import LoadEntry, Spoiled
from inventory.months.queries.entries import Entry
from inventory.months.queries.recovered import flows
from inventory.months.queries.recovered.shapes import BeyondRow, Cell, Flows
from inventory.months.queries.replays import MonthReplay
from inventory.weighing.sums.traced import MassWithReadings

GOODS, OUTGOING, SCRAP = "goods", "outgoing", "scrap"
RUNNERS = "runners"
_GOODS_KINDS = frozenset({"receive_goods", "sort_goods", "pick_out", "pass_on"})
_ACTS = {
    LoadEntry.Act.RECEIVED: ("goods_in", 1),
    LoadEntry.Act.TAKEN_OUT: ("taken_out", 1),
    LoadEntry.Act.BOXED: ("boxed", 1),
    LoadEntry.Act.LOST: ("washed_off", 1),
    # What weighed more than was booked makes the loss smaller.
    LoadEntry.Act.FOUND: ("washed_off", -1),
    LoadEntry.Act.PICKED_OUT: ("picked_out", 1),
}


@dataclass(frozen=True, slots=True)
class _Part:
    """A posting's part in a cell: its row (section and words by code), column and quantity."""

    section: str
    codes: tuple[str, ...]
    column: str
    quantity: int
    number: int
    mass: MassWithReadings | None = None
    sign: int = 1


def rows(replay: MonthReplay) -> tuple[BeyondRow, ...]:
    """Return the rows of a month, by section, in a fixed order."""
    masses = {(entry.number, entry.line): mass for entry, mass in replay.moved}
    parts = [*_goods(replay.entries, masses), *_scrap(replay.entries, masses)]
    by_row: dict[tuple[str, tuple[str, ...]], list[_Part]] = {}
    for part in parts:
        by_row.setdefault((part.section, part.codes), []).append(part)
    return tuple(
        BeyondRow(section, codes, _flows(found))
        for (section, codes), found in sorted(by_row.items())
    )


Masses = Mapping[tuple[int, int], MassWithReadings]
Row = tuple[str, tuple[str, ...]]


def _flows(parts: list[_Part]) -> Flows:
    cells: dict[str, list[_Part]] = {}
    for part in parts:
        cells.setdefault(part.column, []).append(part)
    known: dict[str, MassWithReadings] = {}
    for part in parts:
        if part.mass is not None:
            known.setdefault(part.column, MassWithReadings()).add(part.mass, part.sign)
    return Flows(
        0, {column: _cell(found) for column, found in sorted(cells.items())}, 0, flows.known(known)
    )


def _cell(parts: Iterable[_Part]) -> Cell:
    listed = list(parts)
    numbers = tuple(sorted({part.number for part in listed}))
    return Cell(sum(part.quantity for part in listed), numbers)


def _first(entry: Entry) -> tuple[int, int]:
    """Return the posting that an entry is, or takes back: a reversal has the lines of the other."""
    return (entry.number if entry.reverses is None else entry.reverses, entry.line)


def _goods(entries: Iterable[Entry], masses: Masses) -> Iterator[_Part]:
    wanted = [entry for entry in entries if entry.kind in _GOODS_KINDS]
    told = _told(LoadEntry.objects.filter(posting__movement__number__in=_numbers(wanted)))
    for entry in wanted:
        one = told.get(_first(entry))
        if one is None:
            continue
        if one.act in _ACTS:
            column, times = _ACTS[LoadEntry.Act(one.act)]
            row = (GOODS, (one.load.kind, one.load.giver_class))
            yield _part(row, column, entry, masses, times)
        if one.stream:
            yield _part((OUTGOING, (one.stream,)), f"went_{one.went}", entry, masses)
        if one.kept_by_id is not None:
            # What is passed on was told as kept before.
            yield _part((OUTGOING, (one.stream,)), "went_kept", entry, masses, -1)


def _part(row: Row, column: str, entry: Entry, masses: Masses, times: int = 1) -> _Part:
    sign = entry.sign * times
    mass = masses.get((entry.number, entry.line))
    return _Part(*row, column, sign * entry.quantity, entry.number, mass, sign)


def _told(found: QuerySet[LoadEntry]) -> dict[tuple[int, int], LoadEntry]:
    rows = found.select_related("load", "posting__movement")
    return {(row.posting.movement.number, row.posting.line): row for row in rows}


def _numbers(entries: Iterable[Entry]) -> set[int]:
    return {_first(entry)[0] for entry in entries}


def _scrap(entries: Iterable[Entry], masses: Masses) -> Iterator[_Part]:
    wanted = [entry for entry in entries if entry.kind == "return_scrap"]
    rows = Spoiled.objects.filter(posting__movement__number__in=_numbers(wanted))
    told = {
        (row.posting.movement.number, row.posting.line): row
        for row in rows.select_related("posting__movement")
    }
    for entry in wanted:
        one = told.get(_first(entry))
        row: Row = (SCRAP, (one.step, one.cause) if one else (RUNNERS, ""))
        is_wasted = "foreign" in (entry.source.kind, entry.target.kind)
        yield _part(row, "scrap_wasted" if is_wasted else "scrap", entry, masses)
        if one and one.pieces:
            yield _Part(*row, "spoiled_pairs", entry.sign * one.pieces, entry.number)
