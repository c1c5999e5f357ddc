"""How well every mass of the report is known: per place, per class, per origin, and in all."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from inventory.models import Place, PlaceKind
from inventory.queries import traced
from inventory.queries.recovered import entries
from inventory.queries.recovered.columns import LOSSES
from inventory.queries.recovered.entries import Entry
from inventory.queries.recovered.shapes import MaterialRow, class_row, origin_row
from inventory.sums.traced import Account, Known, Source, Traced, Walk

Row = dict[str, Traced]


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
