"""How well every mass of the report is known: per place, per class, per origin, and in all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from inventory.models import Place, PlaceKind
from inventory.queries import traced
from inventory.queries.recovered import entries
from inventory.queries.recovered.columns import LOSSES
from inventory.queries.recovered.entries import Entry
from inventory.queries.recovered.shapes import (
    Class,
    MaterialRow,
    Report,
    Worth,
    class_row,
    origin_row,
)
from inventory.queries.recovered.worth import NORMAL_LOSSES, RECEIPTS
from inventory.sums.traced import Account, Known, Source, Traced, Walk

Row = dict[str, Traced]
# Columns of a row that are no flow of its own.
_NO_FLOW = frozenset({"opening", "closing", "losses"})


@dataclass(frozen=True, slots=True)
class Followed:
    """A month's postings followed, with what its places carried into it."""

    opened: Mapping[Account, Source]
    walk: Walk
    found: tuple[Entry, ...]

    def on_hold(self) -> list[str]:
        """Subjects with mass on the hold shelf at the end, known without reading the history."""
        shelves = set(Place.objects.filter(kind=PlaceKind.HOLD).values_list("code", flat=True))
        return sorted(
            subject
            for (place, subject), mass_mg in self.walk.mass_mg.items()
            if place in shelves and subject and mass_mg > 0
        )


def follow(label: str, found: tuple[Entry, ...] | None = None) -> Followed:
    """Follow a month's postings to their readings."""
    found = entries.of_month(label, entries.all_places()) if found is None else found
    opened = traced.opening(label)
    return Followed(opened, traced.of_month(label, found, opened), found)


def known(followed: Followed, material: Iterable[MaterialRow]) -> dict[str, dict[str, Known]]:
    """Row -> column -> how well that mass is known; what is known without doubt is left out.

    A total is traced as a whole: what its rows have in common cancels or adds up as it must. It
    has its losses together as one more column.
    """
    rows = traced.by_cell(followed.walk, followed.opened, followed.found)
    cells = sorted((rows | _totals(rows, material)).items())
    return {name: _told(row) for name, row in cells}


def totals(followed: Followed, material: Iterable[MaterialRow]) -> dict[str, Row]:
    """Total, class or origin -> column -> mass."""
    return _totals(traced.by_cell(followed.walk, followed.opened, followed.found), material)


def of_worth(report: Report) -> dict[Class, dict[str, Known]]:
    """Class -> field of its worth -> how well that mass is known, in an edition that states it.

    A mass that is not the sum of the class's columns, such as after the reversal of an earlier
    month's entry, is left out.
    """
    if report.edition == 1:
        return {}
    rows = totals(follow(report.label), report.material)
    return {line.material: _of_class(line, rows) for line in report.worth}


def _of_class(line: Worth, rows: Mapping[str, Row]) -> dict[str, Known]:
    cells = rows.get(class_row(line.material), {})
    named = {*RECEIPTS, *NORMAL_LOSSES, "issued", *_NO_FLOW}
    odd = Traced.total(mass for column, mass in cells.items() if column not in named)
    received = _sum(cells, RECEIPTS)
    if odd.mass_mg > 0:
        received.add(odd)
    masses = {
        "opening_mg": _sum(cells, ["opening"]),
        "received_mg": received,
        "issued_mg": _sum(cells, ["issued"]).times(-1),
        "normal_loss_mg": _sum(cells, NORMAL_LOSSES).times(-1),
        "written_off_mg": odd.times(-1) if odd.mass_mg < 0 else Traced(),
        "closing_mg": _sum(cells, ["closing"]),
    }
    return {
        name: mass.known() for name, mass in masses.items() if mass.mass_mg == getattr(line, name)
    }


def _sum(cells: Row, columns: Iterable[str]) -> Traced:
    return Traced.total(cells.get(column, Traced()) for column in columns)


def _totals(rows: Mapping[str, Row], material: Iterable[MaterialRow]) -> dict[str, Row]:
    totals: dict[str, Row] = {}
    for line in material:
        cells = rows.get(line.place, {})
        for name in ("total", class_row(line.material), origin_row(line.material.origin)):
            _add(totals.setdefault(name, {}), cells)
    for cells in totals.values():
        cells["losses"] = Traced.total(cells.get(column, Traced()) for column in LOSSES)
    return totals


def _add(total: Row, cells: Row) -> None:
    for column, mass in cells.items():
        total.setdefault(column, Traced()).add(mass)


def _told(cells: Row) -> dict[str, Known]:
    told = {column: mass.known() for column, mass in sorted(cells.items())}
    return {column: known for column, known in told.items() if known != Known()}
