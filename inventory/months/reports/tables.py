"""Arranges a report for people: which columns are worth printing, rows, groups and totals.

The same tables stand on the page and in the PDF. Nothing is computed here but the wording.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from django.utils.translation import gettext as _

from inventory.furniture.numbers import grams, money, pieces
from inventory.ledger.sums.recipes import MATERIAL, PARTS, SHELVES
from inventory.months.queries.recovered.shapes import (
    BeyondRow,
    Class,
    Flows,
    MaterialRow,
    Report,
)
from inventory.months.reports import headings
from inventory.weighing.sums.traced import MassUncertainty


@dataclass(frozen=True, slots=True)
class Shown:
    """One figure as printed. `row` and `column` name its evidence; empty where there is none."""

    text: str
    column: str
    row: str = ""
    count: int = 0
    known: MassUncertainty | None = None


@dataclass(frozen=True, slots=True)
class Line:
    """One row of a table. `kind` is row, group, subtotal or total; a group has no figures."""

    kind: str
    label: str
    note: str
    figures: tuple[Shown, ...] = ()


@dataclass(frozen=True, slots=True)
class Table:
    """A table with its unit; `heads` are (column, heading)."""

    key: str
    caption: str
    unit: str
    first: str
    heads: tuple[tuple[str, str], ...]
    lines: tuple[Line, ...]

    @property
    def groups(self) -> tuple[tuple[Line, ...], ...]:
        """Lines that belong on one page: a group's heading with all that follows it."""
        found: list[list[Line]] = []
        for line in self.lines:
            if not found or line.kind in ("group", "total"):
                found.append([])
            found[-1].append(line)
        return tuple(tuple(group) for group in found)

    @property
    def span(self) -> int:
        """Columns in all, the first included."""
        return len(self.heads) + 1


Format = Callable[[int], str]


def material(report: Report) -> Table:
    """Return boxes and lots by class, with subtotals and the total."""
    columns = _used(MATERIAL, [row.flows for row in report.material])
    lines = [line for key, flows in report.classes for line in _class(report, key, flows, columns)]
    if report.material:
        figures = _masses(report.total, "total", columns)
        lines.append(Line("total", str(headings.TOTAL), "", figures))
    return Table(
        "material",
        _("Recovered and bought material, by class and place"),
        _("grams"),
        _("Place"),
        _heads(columns),
        tuple(lines),
    )


def origins(report: Report) -> Table:
    """Return one line per origin: origins are never mixed in a figure."""
    columns = _used(MATERIAL, [row.flows for row in report.material])
    lines = tuple(
        Line("row", str(headings.ORIGINS[origin]), "", _masses(flows, "", columns))
        for origin, flows in report.origins
    )
    caption = _("Material by origin")
    return Table("origins", caption, _("grams"), _("Origin"), _heads(columns), lines)


def shelves(report: Report) -> Table:
    """Return every other place that holds milligrams, the world outside included."""
    lines = tuple(
        Line("row", _place(row.place, row.kind), "", _masses(row.flows, row.place, SHELVES))
        for row in report.shelves
    )
    caption = _("Mass elsewhere: shelves, waste, and the world outside (negative: it gave)")
    return Table("elsewhere", caption, _("grams"), _("Place"), _heads(SHELVES), lines)


def parts(report: Report) -> Table:
    """Return spare parts, in pieces."""
    columns = _used(PARTS, [row.flows for row in report.parts])
    lines = tuple(
        Line("row", row.name, row.part, _figures(row.flows, row.place, columns, pieces))
        for row in report.parts
    )
    return Table("parts", _("Spare parts"), _("pieces"), _("Part"), _heads(columns), lines)


def goods(report: Report) -> Table:
    """Return used goods by kind and the giver's class."""
    return _beyond(report, "goods", _("Used goods by kind and giver"), _("Goods"))


def outgoing(report: Report) -> Table:
    """Return what was taken out of goods by stream, and where it went."""
    return _beyond(report, "outgoing", _("Taken out of goods, by where it went"), _("Stream"))


def scrap(report: Report) -> Table:
    """Return in-process scrap by step and cause; runners have neither."""
    return _beyond(report, "scrap", _("In-process scrap by cause"), _("Step and cause"))


def _beyond(report: Report, section: str, caption: str, first: str) -> Table:
    columns = headings.SECTIONS[section]
    rows = [row for row in report.beyond if row.section == section]
    lines = [
        Line("row", beyond_name(report, row), "", _of_month(row.flows, row.key, columns))
        for row in rows
    ]
    if len(rows) > 1:
        total = Flows.total([row.flows for row in rows], {})
        lines.append(Line("total", _("Total"), "", _of_month(total, "", columns)))
    heads = tuple((column, str(headings.BEYOND[column])) for column in columns)
    unit = _("pairs and grams") if section == "scrap" else _("grams")
    return Table(section, caption, unit, first, heads, tuple(lines))


def _of_month(flows: Flows, row: str, columns: Sequence[str]) -> tuple[Shown, ...]:
    """Return the figures of a row that has neither opening nor closing."""
    shown = []
    for column in columns:
        cell = flows.cell(column)
        write = pieces if column in headings.IN_PIECES else grams
        text = write(cell.quantity) if cell.movements else ""
        shown.append(
            Shown(text, column, row, len(cell.movements), flows.known.get(column) if row else None)
        )
    return tuple(shown)


def beyond_name(report: Report, row: BeyondRow) -> str:
    """Return what a row of goods, streams or scrap is called, by the names frozen in the report."""
    first, *more = row.codes
    if row.section == "goods":
        kind = report.names.get("goods", {}).get(first) or headings.GOODS.get(first, first)
        return f"{kind} · {headings.GIVERS.get(more[0], more[0])}"
    if row.section == "outgoing":
        return str(headings.STREAMS.get(first, first))
    if first not in headings.STEPS_OF_WORK:
        return _("Runners and sprues, without a cause")
    cause = report.names.get("causes", {}).get(more[0]) or headings.CAUSES.get(more[0], more[0])
    return f"{headings.STEPS_OF_WORK[first]} · {cause}"


def worth(report: Report) -> Table:
    """Return the value per class: cost, and the lower of cost and net realisable value."""
    heads = (
        ("opening", _("Opening, at cost")),
        ("received", _("Received")),
        ("issued", _("Issued")),
        ("written_off", _("Written off")),
        ("cost", _("Closing, at cost")),
        ("realisable", _("Net realisable value")),
        ("carried", _("Carried at")),
    )
    lines = [
        Line(
            "row",
            name(report, row.material),
            "",
            tuple(
                Shown(money(amount), column)
                for (column, _heading), amount in zip(
                    heads,
                    (
                        row.opening_minor,
                        row.received_minor,
                        -row.issued_minor,
                        -row.written_off_minor,
                        row.cost_minor,
                        row.realisable_minor,
                        row.carried_minor,
                    ),
                    strict=True,
                )
            ),
        )
        for row in report.worth
    ]
    if lines:
        lines.append(_worth_total(report, [column for column, _heading in heads]))
    caption = _("Value of material on hand")
    return Table("value", caption, report.currency, _("Class"), heads, tuple(lines))


_LEFT = frozenset({"mends_minor", "kits_minor", "missing_minor"})


def parts_worth(report: Report) -> Table:
    """Return what the spare parts are worth, at periodic weighted average cost."""
    heads = tuple((name, str(words)) for name, words in headings.PARTS_WORTH.items())
    names = report.names["parts"]
    lines = [
        Line(
            "row",
            names.get(row.part, row.part),
            row.part,
            tuple(_part_amount(name, getattr(row, name)) for name, _words in heads),
        )
        for row in report.parts_worth
    ]
    if lines:
        sums = [(n, sum(getattr(row, n) for row in report.parts_worth)) for n, _words in heads]
        lines.append(Line("total", _("Total"), "", tuple(_part_amount(*one) for one in sums)))
    caption = _("Value of spare parts")
    return Table("parts-value", caption, report.currency, _("Part"), heads, tuple(lines))


def _part_amount(name: str, amount: int) -> Shown:
    if name == "closing":
        return Shown(pieces(amount), name)
    return Shown(money(-amount if name in _LEFT else amount), name)


def steps(report: Report) -> Table:
    """Return the worth from opening to closing, all classes together, each step a line."""
    kinds = {"cost": "subtotal", "carried": "total"}
    lines = [
        Line(kinds.get(key, "row"), str(headings.STEPS[key]), "", (Shown(money(amount), key),))
        for key, amount in report.worth_steps
        if amount or key in (*kinds, "opening", "issued", "written_off")
    ]
    caption = _("From opening to closing worth")
    heads = (("amount", _("Amount")),)
    shown = tuple(lines) if report.worth else ()
    return Table("steps", caption, report.currency, _("Step"), heads, shown)


def journal(report: Report) -> Table:
    """Return the proposed journal over all classes; both sides come to the same sum."""
    lines = [
        Line(
            "row",
            str(headings.ACCOUNTS[account]),
            str(headings.JOURNAL[text_key]),
            _sides(debit_minor, credit_minor),
        )
        for text_key, account, debit_minor, credit_minor in report.journal_summed
    ]
    if lines:
        debit_minor = sum(line.debit_minor for line in report.journal)
        credit_minor = sum(line.credit_minor for line in report.journal)
        lines.append(Line("total", _("Total"), "", _sides(debit_minor, credit_minor)))
    heads = (("debit", _("Debit")), ("credit", _("Credit")))
    return Table(
        "journal", _("Proposed journal"), report.currency, _("Account"), heads, tuple(lines)
    )


def _sides(debit_minor: int, credit_minor: int) -> tuple[Shown, ...]:
    return (
        Shown(money(debit_minor) if debit_minor else "", "debit"),
        Shown(money(credit_minor) if credit_minor else "", "credit"),
    )


def every(report: Report) -> tuple[Table, ...]:
    """Return all tables in the order of the report."""
    made = [material, origins, shelves]
    # A workshop without goods and scrap in a month needs no empty tables of them.
    sections = {row.section for row in report.beyond}
    made += [table for table in (goods, outgoing, scrap) if table.__name__ in sections]
    made += [parts, *([parts_worth] if report.parts_worth else []), worth, steps, journal]
    return tuple(table(report) for table in made)


def name(report: Report, material: Class) -> str:
    """Return a class in words, by the names that the report has frozen."""
    colour = report.names["colours"].get(material.colour, material.colour)
    return f"{material.polymer} · {colour} · {headings.ORIGINS[material.origin]}"


def _class(report: Report, key: Class, flows: Flows, columns: Sequence[str]) -> Iterator[Line]:
    rows = [row for row in report.material if row.material == key]
    yield Line("group", name(report, key), "")
    for row in rows:
        yield Line("row", box_or_lot(row), "", _masses(row.flows, row.place, columns))
    if len(rows) > 1:
        yield Line("subtotal", _("Subtotal"), "", _masses(flows, "", columns))


def box_or_lot(row: MaterialRow) -> str:
    """Return a row of material in words, without its class."""
    return _("Regrind box") if row.kind == "box" else _("Lot %(lot)s") % {"lot": row.name}


def _place(code: str, kind: str) -> str:
    return str(headings.PLACES.get(kind, code))


def _figures(flows: Flows, row: str, columns: Sequence[str], shown: Format) -> tuple[Shown, ...]:
    middle = [
        Shown(
            shown(flows.cell(column).quantity) if flows.cell(column).movements else "",
            column,
            row,
            len(flows.cell(column).movements),
        )
        for column in columns
    ]
    return (
        Shown(shown(flows.opening), "opening"),
        *middle,
        Shown(shown(flows.closing), "closing"),
    )


def _masses(flows: Flows, row: str, columns: Sequence[str]) -> tuple[Shown, ...]:
    """Return figures in grams, each with its uncertainty."""
    return tuple(
        replace(shown, known=flows.known_of(shown.column) if shown.text else None)
        for shown in _figures(flows, row, columns, grams)
    )


def _heads(columns: Iterable[str]) -> tuple[tuple[str, str], ...]:
    return tuple((key, str(headings.SHORT[key])) for key in ("opening", *columns, "closing"))


def _used(columns: Sequence[str], rows: Iterable[Flows]) -> tuple[str, ...]:
    """Return the columns with an entry; without any, all, so that an empty month has a shape."""
    found = {column for row in rows for column in row.cells}
    return tuple(column for column in columns if column in found) or tuple(columns)


def _worth_total(report: Report, columns: Sequence[str]) -> Line:
    rows = report.worth
    # A sum over the classes that have a price would read as one over all.
    known = all(row.realisable_minor is not None for row in rows)
    amounts: list[int | None] = [
        sum(row.opening_minor for row in rows),
        sum(row.received_minor for row in rows),
        -sum(row.issued_minor for row in rows),
        -sum(row.written_off_minor for row in rows),
        sum(row.cost_minor for row in rows),
        sum(row.realisable_minor or 0 for row in rows) if known else None,
        report.carried_minor,
    ]
    shown = [Shown(money(a), column) for a, column in zip(amounts, columns, strict=True)]
    return Line("total", _("Total"), "", tuple(shown))
