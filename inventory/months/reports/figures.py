"""Every figure of a report as one plain list, the same for CSV and workbook.

Codes, units and whole numbers only; a machine reads this, so nothing is translated.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from inventory.ledger.sums.recipes import MATERIAL, PARTS, SHELVES
from inventory.months.queries.recovered.shapes import Cell, Class, Flows, PartWorth, Report, Worth
from inventory.months.reports.headings import IN_PIECES, SECTIONS
from inventory.weighing.sums.traced import MassUncertainty

NO_CLASS = Class("", "", "")
_WORTH = {
    "opening": "opening_minor",
    "received": "received_minor",
    "bought": "bought_minor",
    "recovered": "recovered_minor",
    "converted": "converted_minor",
    "issued": "issued_minor",
    "written_off": "written_off_minor",
    "closing_cost": "cost_minor",
    "net_realisable_value": "realisable_minor",
    "allowance": "allowance_minor",
    "carried": "carried_minor",
}
_PART_WORTH = {
    "opening": "opening_minor",
    "received": "received_minor",
    "mends": "mends_minor",
    "kits": "kits_minor",
    "missing": "missing_minor",
    "closing_cost": "cost_minor",
    "taken_on": "taken_on_minor",
}


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: where it stands, its unit (mg, pc, ug or an ISO 4217 code in minor units)."""

    section: str
    row: str
    material: Class
    column: str
    unit: str
    quantity: int
    movements: tuple[int, ...] = ()
    known: MassUncertainty | None = None


def listed(report: Report) -> Iterator[Figure]:
    """Yield all figures in the order of the report; columns without an entry are zero."""
    yield from _listed_flows(report)
    yield from _beyond(report)
    yield from _frames(report)
    yield from _trust(report)
    for worth in report.worth:
        yield from _worth(worth, report)
    for part in report.parts_worth:
        yield from _part_worth(part, report.currency)


def _listed_flows(report: Report) -> Iterator[Figure]:
    for row in report.material:
        yield from _flows(_Spot("material", row.place, row.material, "mg"), MATERIAL, row.flows)
    yield from _flows(_Spot("material", "total", NO_CLASS, "mg"), MATERIAL, report.total)
    for shelf in report.shelves:
        yield from _flows(_Spot("elsewhere", shelf.place, NO_CLASS, "mg"), SHELVES, shelf.flows)
    for part in report.parts:
        yield from _flows(_Spot("parts", part.part, NO_CLASS, "pc"), PARTS, part.flows)


def _beyond(report: Report) -> Iterator[Figure]:
    for row in report.beyond:
        for column in SECTIONS[row.section]:
            unit = "pc" if column in IN_PIECES else "mg"
            spot = _Spot(row.section, row.key, NO_CLASS, unit)
            yield spot.figure(column, row.flows.cell(column), row.flows)


@dataclass(frozen=True, slots=True)
class _Spot:
    section: str
    row: str
    material: Class
    unit: str

    def figure(self, column: str, cell: Cell, flows: Flows) -> Figure:
        known = flows.known_of(column) if self.unit == "mg" else None
        return Figure(
            self.section,
            self.row,
            self.material,
            column,
            self.unit,
            cell.quantity,
            cell.movements,
            known,
        )


def _flows(spot: _Spot, columns: tuple[str, ...], flows: Flows) -> Iterator[Figure]:
    yield spot.figure("opening", Cell(flows.opening), flows)
    for column in columns:
        yield spot.figure(column, flows.cell(column), flows)
    yield spot.figure("closing", Cell(flows.closing), flows)


def _frames(report: Report) -> Iterator[Figure]:
    for name in ("received", "mended", "unmended", "reground", "discarded", "held"):
        cell: Cell = getattr(report.frames, name)
        yield Figure("frames", "frames", NO_CLASS, name, "pc", cell.quantity, cell.movements)


def _trust(report: Report) -> Iterator[Figure]:
    trust = report.trust
    flags = tuple(((scale, flag), count) for scale, flag, count in trust.flags)
    weighed = MassUncertainty(trust.expanded_ug, 0, trust.readings, flags)
    credited = replace(weighed, booked_mg=abs(trust.credited_mg - trust.weighed_mg))
    for column, unit, quantity, known in (
        ("credited", "mg", trust.credited_mg, credited),
        ("weighed", "mg", trust.weighed_mg, weighed),
        ("expanded_uncertainty_k2", "ug", trust.expanded_ug, None),
    ):
        yield Figure("trust", "credited", NO_CLASS, column, unit, quantity, known=known)


def _worth(worth: Worth, report: Report) -> Iterator[Figure]:
    for column, name in _WORTH.items():
        amount_minor = getattr(worth, name)
        if amount_minor is not None:
            yield Figure(
                "value", str(worth.material), worth.material, column, report.currency, amount_minor
            )


def _part_worth(part: PartWorth, currency: str) -> Iterator[Figure]:
    for column, name in _PART_WORTH.items():
        amount_minor = getattr(part, name)
        yield Figure("parts_value", part.part, NO_CLASS, column, currency, amount_minor)
