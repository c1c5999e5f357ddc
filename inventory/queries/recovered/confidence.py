"""How well every mass of the report is known: per place, per class, per origin, and in all."""

from __future__ import annotations

from collections.abc import Iterable

from inventory.queries import traced
from inventory.queries.recovered.entries import Entry
from inventory.queries.recovered.shapes import MaterialRow, class_row, origin_row
from inventory.sums.traced import Known, Traced

Row = dict[str, Traced]


def known(
    label: str, found: Iterable[Entry], material: Iterable[MaterialRow]
) -> dict[str, dict[str, Known]]:
    """Row -> column -> how well that mass is known; what is known without doubt is left out.

    A total is traced as a whole: what its rows have in common cancels or adds up as it must.
    """
    listed = tuple(found)
    opened = traced.opening(label)
    walk = traced.of_month(label, listed, opened)
    rows = traced.by_cell(walk, opened, listed)
    totals: dict[str, Row] = {}
    for line in material:
        cells = rows.get(line.place, {})
        for name in ("total", class_row(line.material), origin_row(line.material.origin)):
            _add(totals.setdefault(name, {}), cells)
    return {name: _told(cells) for name, cells in sorted((rows | totals).items())}


def _add(total: Row, cells: Row) -> None:
    for column, mass in cells.items():
        total.setdefault(column, Traced()).add(mass)


def _told(cells: Row) -> dict[str, Known]:
    told = {column: mass.known() for column, mass in sorted(cells.items())}
    return {column: known for column, known in told.items() if known != Known()}
