"""What a month did to each place: opening, flows by column, closing, and their uncertainties."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping

from inventory.ledger.queries import balances
from inventory.ledger.sums.recipes import LOSSES
from inventory.months.queries.entries import Entry
from inventory.months.queries.recovered.shapes import Cell, Flows, MaterialRow
from inventory.months.queries.replays import MonthReplay
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings

Masses = Mapping[str, MassWithReadings]
"""Column -> mass with the readings behind it; "opening" and "closing" are among the columns."""


def masses(replay: MonthReplay) -> dict[str, dict[str, MassWithReadings]]:
    """Return code of each place -> its masses by column."""
    found: dict[str, dict[str, MassWithReadings]] = {}
    for edge, held in (("opening", replay.opened), ("closing", replay.ended.held)):
        for place, mass in traced.by_place(held).items():
            found.setdefault(place, {})[edge] = mass
    for entry, moved in replay.moved:
        for end, sign in ((entry.source, -1), (entry.target, 1)):
            column = entry.column(end)
            if column:
                found.setdefault(end.code, {}).setdefault(column, MassWithReadings()).add(
                    moved, sign
                )
    return found


def of_places(replay: MonthReplay, masses: Mapping[str, Masses]) -> dict[int, Flows]:
    """Return place id -> its flows, for every place with an entry or with something in it."""
    # Both from snapshots and postings and neither from the flows: only so can a row fail to tie
    # out.
    opening, closing = balances.at_start(replay.label), balances.at_close(replay.label)
    moved: dict[int, dict[str, list[tuple[int, int]]]] = {}
    for place, column, signed, number in _sides(replay.entries):
        moved.setdefault(place, {}).setdefault(column, []).append((signed, number))
    return {
        pk: Flows(
            opening.get(pk, 0),
            {column: _cell(parts) for column, parts in sorted(moved.get(pk, {}).items())},
            closing.get(pk, 0),
            known(masses.get(replay.places[pk].code, {})),
        )
        for pk in sorted({*moved, *opening, *closing})
    }


def total(rows: Iterable[MaterialRow], masses: Mapping[str, Masses]) -> Flows:
    """Return several boxes and lots as one row, with all losses together as one more mass."""
    listed = list(rows)
    return Flows.total([row.flows for row in listed], known(summed(listed, masses)))


def summed(
    rows: Iterable[MaterialRow], masses: Mapping[str, Masses]
) -> dict[str, MassWithReadings]:
    """Return the masses of several rows as one: what they share cancels or adds up as it must."""
    found: dict[str, MassWithReadings] = {}
    for row in rows:
        for column, mass in masses.get(row.place, {}).items():
            found.setdefault(column, MassWithReadings()).add(mass)
    # As one mass and not as a sum of uncertainties: dust and purge of a run may share a scale.
    found["losses"] = MassWithReadings.total(
        found.get(column, MassWithReadings()) for column in LOSSES
    )
    return found


def known(cells: Masses) -> dict[str, MassUncertainty]:
    """Return the uncertainty of each mass, without those that have none."""
    data = {column: mass.known() for column, mass in sorted(cells.items())}
    return {column: how for column, how in data.items() if how != MassUncertainty()}


def _sides(entries: Iterable[Entry]) -> Iterator[tuple[int, str, int, int]]:
    for entry in entries:
        for place in (entry.source, entry.target):
            column = entry.column(place)
            if column is not None:
                yield place.pk, column, entry.signed(place), entry.number


def _cell(parts: list[tuple[int, int]]) -> Cell:
    numbers = tuple(dict.fromkeys(number for _signed, number in parts))
    return Cell(sum(signed for signed, _number in parts), numbers)
