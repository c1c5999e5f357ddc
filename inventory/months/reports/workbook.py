"""The report as a workbook: real numbers, real dates, units in the headings, totals as formulas.

The file's creation date is the close of the month, so that a closed month always gives the same
bytes.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from django.utils import timezone
from django.utils.translation import gettext as _

from inventory.journal import queries as journal
from inventory.ledger.sums.recipes import MATERIAL, PARTS, SHELVES
from inventory.masters import queries as practice
from inventory.months.queries import months
from inventory.months.queries.recovered import corrections
from inventory.months.queries.recovered.lines import PostingLine
from inventory.months.queries.recovered.shapes import Entered, Flows, PartEntered, Report
from inventory.months.reports import figures, headings, tables
from inventory.months.reports.naming import workshop_language
from inventory.weighing.sums.traced import MassUncertainty

GRAMS = '#,##0.000;[Red]-#,##0.000;"–"'
MONEY = "#,##0.00;[Red]-#,##0.00"
COUNT = "#,##0;[Red]-#,##0"
MOMENT = "yyyy-mm-dd hh:mm"
# The library would otherwise turn texts that look like formulas, links or numbers into such: what
# somebody typed as a reason must stay a text.
OPTIONS = {
    "in_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
    "remove_timezone": True,
}


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet: headings, rows of plain values, and a number format per column ("" for text).

    `summed` are the columns that a total row sums by a formula; without any there is no such row.
    """

    name: str
    heads: Sequence[str]
    rows: Sequence[Sequence[Any]]
    formats: Sequence[str]
    summed: frozenset[int] = frozenset()


def report_xlsx(report: Report, lines: Iterable[PostingLine]) -> bytes:
    """Return the whole report with its postings, one sheet per table."""
    import xlsxwriter

    out = io.BytesIO()
    with workshop_language(), xlsxwriter.Workbook(out, OPTIONS) as book:
        book.set_properties(
            {
                "title": _("Recovered material %(label)s") % {"label": report.label},
                "author": report.workshop,
                "comments": _("PRACTICE: everything on this paper is invented")
                if practice.is_on()
                else "",
                "created": _made_at(report),
            }
        )
        is_practice = practice.is_on()
        for sheet in _sheets(report, lines):
            _write(book, sheet, is_practice=is_practice)
    return out.getvalue()


def _made_at(report: Report) -> datetime:
    closed = months.closed(report.label)
    moment = closed.closed_at if closed else months.span(report.label)[1]
    return moment.astimezone(UTC).replace(tzinfo=None)


def _write(book: Any, sheet: Sheet, *, is_practice: bool) -> None:
    page = book.add_worksheet(sheet.name)
    head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
    formats = [book.add_format({"num_format": code}) if code else None for code in sheet.formats]
    page.freeze_panes(1, 1)
    page.repeat_rows(0)
    page.set_landscape()
    if is_practice:
        page.set_header("&C&B" + _("PRACTICE: everything on this paper is invented"))
        page.set_tab_color("#b07000")
    page.fit_to_pages(1, 0)
    for column, heading in enumerate(sheet.heads):
        page.write_string(0, column, heading, head)
        page.set_column(column, column, 13 if sheet.formats[column] else 26)
    for number, row in enumerate(sheet.rows, start=1):
        for column, value in enumerate(row):
            _cell(page, (number, column), value, formats[column])
    if sheet.rows:
        page.autofilter(0, 0, len(sheet.rows), len(sheet.heads) - 1)
    if sheet.rows and sheet.summed:
        _total(book, page, sheet)


def _total(book: Any, page: Any, sheet: Sheet) -> None:
    """Write the total row. Each cell keeps the sum too, for readers that work nothing out."""
    from xlsxwriter.utility import xl_rowcol_to_cell

    last = len(sheet.rows)
    page.write_string(last + 1, 0, _("Total"), book.add_format({"bold": True, "top": 1}))
    for column in sorted(sheet.summed):
        shape = book.add_format({"bold": True, "top": 1, "num_format": sheet.formats[column]})
        first_cell, last_cell = (xl_rowcol_to_cell(row, column) for row in (1, last))
        # Thousandths are the finest of any column: what floats add below that is no figure.
        whole = round(sum(row[column] or 0 for row in sheet.rows), 3)
        formula = f"=SUM({first_cell}:{last_cell})"
        page.write_formula(last + 1, column, formula, shape, whole)


def _cell(page: Any, spot: tuple[int, int], value: Any, shape: Any) -> None:
    if value is None:
        return
    if isinstance(value, datetime):
        page.write_datetime(*spot, value, shape)
    elif isinstance(value, str):
        page.write_string(*spot, value, shape)
    else:
        page.write_number(*spot, value, shape)


def _sheets(report: Report, lines: Iterable[PostingLine]) -> list[Sheet]:
    return [
        _about(report),
        _material(report),
        _elsewhere(report),
        *_beyond(report),
        _uncertainty(report),
        _parts(report),
        *([_parts_worth(report)] if report.parts_worth else []),
        _worth(report),
        _journal(report),
        _carried(report),
        _postings(lines),
    ]


def _about(report: Report) -> Sheet:
    closed = months.closed(report.label)
    trust = report.trust
    frames = [
        (f"{_('Frames')}: {words}", getattr(report.frames, key).quantity)
        for key, words in headings.FRAMES.items()
    ]
    rows: list[Sequence[Any]] = [
        (_("Workshop"), report.workshop),
        (_("Month"), report.label),
        (_("State"), _("closed") if closed else _("open: these figures may still change")),
        (_("Digest of the closed month"), closed.digest if closed else ""),
        (_("Digest of the month before"), closed.previous_digest if closed else ""),
        (_("Changed since closing"), _changed(report)),
        *frames,
        (_("Mass credited from returns (g)"), trust.credited_mg / 1000),
        (_("Its expanded uncertainty, k = 2 (g)"), trust.expanded_ug / 1_000_000),
        (_("Movements"), report.movements),
    ]
    # A sheet's name has at most 31 characters (a limit of the file format), in every language.
    return Sheet(_("About")[:31], (_("What"), _("Value")), rows, ("", "0.###"))


def _changed(report: Report) -> str:
    """Say in a cell by which movements of later months a closed one was put right."""
    found = corrections.made_to(report.label) if months.closed(report.label) else ()
    return ", ".join(f"#{one.number} ({one.booked_in})" for one in found)


def _flows(
    columns: Sequence[str], unit: str, rows: Iterable[tuple[Sequence[str], Flows]]
) -> tuple[list[str], list[Sequence[Any]]]:
    heads = [f"{headings.COLUMNS[c]} ({unit})" for c in ("opening", *columns, "closing")]
    # A workbook's cell knows only floats; thousandths of a gram are far within their 15 digits.
    scale: Callable[[int], float] = (lambda n: n) if unit == "pc" else (lambda n: n / 1000)
    listed: list[Sequence[Any]] = [
        (
            *labels,
            scale(flows.opening),
            *(scale(flows.cell(column).quantity) for column in columns),
            scale(flows.closing),
        )
        for labels, flows in rows
    ]
    return heads, listed


def _material(report: Report) -> Sheet:
    labels = [_("Place"), _("Polymer"), _("Colour"), _("Origin")]
    rows = [
        ((row.place, row.material.polymer, row.material.colour, row.material.origin), row.flows)
        for row in report.material
    ]
    heads, listed = _flows(MATERIAL, "g", rows)
    formats = [""] * len(labels) + [GRAMS] * len(heads)
    # The total's figures are sums of the rows, so the formulas come to the very same.
    summed = frozenset(range(len(labels), len(formats)))
    return Sheet(_("Material")[:31], labels + heads, listed, formats, summed)


def _elsewhere(report: Report) -> Sheet:
    rows = [((row.place,), row.flows) for row in report.shelves]
    heads, listed = _flows(SHELVES, "g", rows)
    return Sheet(_("Elsewhere")[:31], [_("Place"), *heads], listed, ["", *[GRAMS] * len(heads)])


def _beyond(report: Report) -> list[Sheet]:
    """Return goods, outgoing streams and scrap, a sheet each, where the month has any."""
    names = {"goods": _("Goods"), "outgoing": _("Taken out"), "scrap": _("Scrap")}
    sheets = []
    for section, columns in headings.SECTIONS.items():
        rows = [
            (
                tables.beyond_name(report, row),
                *(
                    row.flows.cell(column).quantity / (1 if column in headings.IN_PIECES else 1000)
                    for column in columns
                ),
            )
            for row in report.beyond
            if row.section == section
        ]
        heads = [_("Row"), *(_beyond_head(column) for column in columns)]
        formats = ["", *(COUNT if c in headings.IN_PIECES else GRAMS for c in columns)]
        if rows:
            sheets.append(Sheet(names[section][:31], heads, rows, formats))
    return sheets


def _beyond_head(column: str) -> str:
    words = str(headings.BEYOND[column])
    return words if column in headings.IN_PIECES or words.endswith("(g)") else f"{words} (g)"


def _uncertainty(report: Report) -> Sheet:
    """Return the uncertainty of each mass, one line per mass."""
    heads = (
        _("Place or total"),
        _("Column"),
        _("Mass (g)"),
        *_spread_heads(),
        _("Objections to its readings"),
    )
    rows = [
        (
            figure.row,
            str((headings.COLUMNS | headings.BEYOND)[figure.column]),
            figure.quantity / 1000,
            figure.known.expanded_ug / 1_000_000 if figure.known.is_weighed else None,
            figure.known.booked_mg / 1000,
            sum(count for _flag, count in figure.known.flags) or None,
        )
        for figure in figures.listed(report)
        if figure.section != "trust"
        and figure.known is not None
        and (figure.quantity or figure.known.readings)
    ]
    return Sheet(_("Uncertainty")[:31], heads, rows, ("", "", GRAMS, GRAMS, GRAMS, COUNT))


def _parts(report: Report) -> Sheet:
    rows = [((row.part, row.name), row.flows) for row in report.parts]
    heads, listed = _flows(PARTS, "pc", rows)
    labels = [_("Part"), _("Name")]
    return Sheet(_("Parts")[:31], labels + heads, listed, ["", "", *[COUNT] * len(heads)])


def _parts_worth(report: Report) -> Sheet:
    unit = report.currency
    columns = [name for name in headings.PARTS_WORTH if name.endswith("_minor")]
    rows = [
        (
            row.part,
            report.names["parts"].get(row.part, row.part),
            *(getattr(row, name) / 100 for name in columns),
        )
        for row in report.parts_worth
    ]
    heads = [f"{headings.PARTS_WORTH[name]} ({unit})" for name in columns]
    labels = [_("Part"), _("Name")]
    formats = ["", "", *[MONEY] * len(heads)]
    summed = frozenset(range(len(labels), len(formats)))
    return Sheet(_("Parts value")[:31], labels + heads, rows, formats, summed)


def _worth(report: Report) -> Sheet:
    unit = report.currency
    names = (
        _("Opening mass (g)"),
        _("Received mass (g)"),
        _("Issued mass (g)"),
        _("Normal loss (g)"),
        _("Written-off mass (g)"),
        _("Closing mass (g)"),
    )
    money = [
        f"{name} ({unit})"
        for name in (
            _("Opening cost"),
            _("Received cost"),
            _("of it bought"),
            _("of it recovery"),
            _("of it conversion"),
            _("Issued cost"),
            _("Written-off cost"),
            _("Closing cost"),
            _("Net realisable value"),
            _("Allowance"),
            _("Carried at"),
        )
    ]
    rows = [
        (
            str(row.material),
            *(
                shown
                for name in _MASSES
                for shown in (
                    getattr(row, name) / 1000,
                    *_spread(row.known.get(name)),
                )
            ),
            *(
                None if amount is None else amount / 100
                for amount in (
                    row.opening_minor,
                    row.received_minor,
                    row.bought_minor,
                    row.recovered_minor,
                    row.converted_minor,
                    row.issued_minor,
                    row.written_off_minor,
                    row.cost_minor,
                    row.realisable_minor,
                    row.allowance_minor,
                    row.carried_minor,
                )
            ),
        )
        for row in report.worth
    ]
    heads = [head for name in names for head in (name, *_spread_heads())]
    formats = ["", *[GRAMS] * len(heads), *[MONEY] * len(money)]
    # Uncertainties do not add up, and a sum over the classes with a price would read as of all.
    masses = range(1, len(heads), 3)
    amounts = set(range(1 + len(heads), len(formats)))
    if any(row.realisable_minor is None for row in report.worth):
        amounts.discard(1 + len(heads) + _REALISABLE)
    summed = frozenset({*masses, *amounts})
    return Sheet(_("Value")[:31], [_("Class"), *heads, *money], rows, formats, summed)


_REALISABLE = 8
"""Where the net realisable value stands among the amounts of a class."""


_MASSES = (
    "opening_mg",
    "received_mg",
    "issued_mg",
    "normal_loss_mg",
    "written_off_mg",
    "closing_mg",
)


def _spread_heads() -> tuple[str, str]:
    """Return the heads of the columns that stand beside a mass."""
    return _("± (g, k = 2)"), _("Not weighed (g)")


def _spread(known: MassUncertainty | None) -> tuple[float | None, float | None]:
    """Return expanded uncertainty and unweighed mass, in grams; None where nothing states it."""
    if known is None:
        return None, None
    spread = known.expanded_ug / 1_000_000 if known.is_weighed else None
    return spread, known.booked_mg / 1000 if known.booked_mg else None


def _journal(report: Report) -> Sheet:
    lines: list[tuple[str, Entered | PartEntered]] = [
        *((str(line.material), line) for line in report.journal),
        *((line.part, line) for line in report.parts_journal),
    ]
    rows = [
        (
            str(headings.ACCOUNTS[line.account]),
            str(headings.JOURNAL[line.text_key]),
            of,
            line.debit_minor / 100 if line.debit_minor else None,
            line.credit_minor / 100 if line.credit_minor else None,
        )
        for of, line in lines
    ]
    unit = report.currency
    heads = [
        _("Account"),
        _("Text"),
        _("Class or part"),
        f"{_('Debit')} ({unit})",
        f"{_('Credit')} ({unit})",
    ]
    formats = ["", "", "", MONEY, MONEY]
    return Sheet(_("Journal")[:31], heads, rows, formats, frozenset({3, 4}))


def _carried(report: Report) -> Sheet:
    """Return what stands on each account: from the last closing to this one, and year to date."""
    unit = report.currency
    balance = journal.trial_balance_of(report)
    names = (
        _("Opening"),
        _("Debit"),
        _("Credit"),
        _("Closing"),
        _("Debit, year to date"),
        _("Credit, year to date"),
    )
    rows = [
        (
            str(headings.ACCOUNTS[row.account]),
            *(
                amount / 100
                for amount in (
                    row.opening_minor,
                    row.debit_minor,
                    row.credit_minor,
                    row.closing_minor,
                    row.year_debit_minor,
                    row.year_credit_minor,
                )
            ),
        )
        for row in balance.rows
    ]
    heads = [_("Account"), *(f"{name} ({unit})" for name in names)]
    formats = ["", *[MONEY] * len(names)]
    return Sheet(_("Carried forward")[:31], heads, rows, formats, frozenset(range(1, 7)))


def _postings(lines: Iterable[PostingLine]) -> Sheet:
    heads = [
        _("Movement"),
        _("Line"),
        _("Kind"),
        _("Subject"),
        _("Happened at (workshop's clock)"),
        _("Belongs to month"),
        _("Reverses movement"),
        _("Reason"),
        _("From"),
        _("To"),
        _("Mass (g)"),
        *_spread_heads(),
        _("Pieces"),
        _("Reading (g)"),
        _("Scale"),
    ]
    rows = [
        (
            line.number,
            line.line,
            line.kind,
            line.subject,
            timezone.localtime(line.happened_at, timezone.get_default_timezone()).replace(
                tzinfo=None
            ),
            line.belongs_to,
            line.reverses,
            line.reason,
            line.source,
            line.target,
            line.quantity / 1000 if line.unit == "mg" else None,
            *_spread(line.known),
            line.quantity if line.unit == "pc" else None,
            None if line.reading_mg is None else line.reading_mg / 1000,
            line.scale,
        )
        for line in lines
    ]
    masses = [GRAMS] * 3
    formats = ["0", "0", "", "", MOMENT, "", "0", "", "", "", *masses, COUNT, GRAMS, ""]
    return Sheet(_("Postings")[:31], heads, rows, formats)
