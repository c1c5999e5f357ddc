"""How well every mass of the report is known: per place, per class, per origin, and in all."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping

from inventory.ledger.sums.recipes import LOSSES, Effect
from inventory.months.queries.followed import Followed
from inventory.months.queries.recovered import worth
from inventory.months.queries.recovered.shapes import (
    Class,
    MaterialRow,
    Report,
    class_row,
    origin_row,
)
from inventory.weighing.sums.traced import Known, Traced

Row = Mapping[str, Traced]


def known(label: str, followed: Followed, totals: Mapping[str, Row]) -> dict[str, dict[str, Known]]:
    """Row -> column -> how well that mass is known; what is known without doubt is left out."""
    cells = sorted({**followed.by_cell(label), **totals}.items())
    return {name: _told(row) for name, row in cells}


def totals(
    label: str, followed: Followed, material: Iterable[MaterialRow]
) -> dict[str, dict[str, Traced]]:
    """Total, class or origin -> column -> mass, its losses together as one more column.

    A total is traced as a whole: what its rows have in common cancels or adds up as it must.
    """
    rows = followed.by_cell(label)
    found: dict[str, dict[str, Traced]] = {}
    for line in material:
        cells = rows.get(line.place, {})
        for name in ("total", class_row(line.material), origin_row(line.material.origin)):
            _add(found.setdefault(name, {}), cells)
    for cells in found.values():
        cells["losses"] = Traced.total(cells.get(column, Traced()) for column in LOSSES)
    return found


def of_worth(report: Report) -> dict[Class, dict[str, Known]]:
    """Class -> field of its worth -> how well that mass is known, in an edition that states it."""
    rows, parts = report.totals, _parts(report)
    return {
        line.material: _of_class(rows.get(class_row(line.material), {}), parts[line.material])
        for line in (report.worth if rows else ())
    }


def of_late(report: Report) -> dict[int, Known]:
    """Number of each movement that came in late -> how well its mass is known."""
    masses: dict[int, Traced] = defaultdict(Traced)
    for (number, _line), mass in report.followed.moved(report.label).items():
        masses[number].add(mass)
    return {row.number: masses[row.number].known() for row in report.late}


def _parts(report: Report) -> Mapping[Class, Row]:
    """Class -> what it means for the cost, as `worth.effect` has it -> mass into the class."""
    parts: dict[Class, Row] = defaultdict(lambda: defaultdict(Traced))
    moved = report.followed.moved(report.label)
    for entry, place, column in worth.material_sides(report.followed.found(report.label)):
        mass = moved.get((entry.number, entry.line), Traced())
        sign = 1 if place == entry.target else -1
        parts[worth.class_of(place)][worth.effect(entry, column)].add(mass, sign)
    return parts


def _of_class(cells: Row, parts: Row) -> dict[str, Known]:
    """Mass that is over once all is netted was received, and what is short is written off."""
    odd, nothing = parts[Effect.ODD], Traced()
    over, short = (odd, nothing) if odd.mass_mg > 0 else (nothing, odd)
    masses = {
        "opening_mg": cells.get("opening", nothing),
        "received_mg": Traced.total([parts[Effect.RECEIVED], over]),
        "issued_mg": parts[Effect.ISSUED],
        "normal_loss_mg": parts[Effect.NORMAL],
        "written_off_mg": short,
        "closing_mg": cells.get("closing", nothing),
    }
    return {name: mass.known() for name, mass in masses.items()}


def _add(total: dict[str, Traced], cells: Row) -> None:
    for column, mass in cells.items():
        total.setdefault(column, Traced()).add(mass)


def _told(cells: Row) -> dict[str, Known]:
    told = {column: mass.known() for column, mass in sorted(cells.items())}
    return {column: known for column, known in told.items() if known != Known()}
