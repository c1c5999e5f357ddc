"""The one writer of CSV, with its CSVW description. RFC 4180: comma, CRLF, quotes where needed.

A text cell that a spreadsheet could take for a formula gets a leading apostrophe (OWASP ASVS 5.0,
1.2.10, and the full-width signs besides); numbers stay numbers, minus signs included.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from inventory.months.queries.recovered.lines import PostingLine
from inventory.months.queries.recovered.shapes import Report
from inventory.months.reports.figures import Figure, listed
from inventory.weighing.sums.traced import COVERAGE

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＋", "－", "＠")

Cell = str | int | datetime | None


@dataclass(frozen=True, slots=True)
class Field:
    """One column: name, heading, XML Schema datatype, and where its value comes from."""

    name: str
    title: str
    datatype: str
    value: Callable[[Any], Cell]
    required: bool = True


def _first(figure: Figure) -> int | None:
    return figure.movements[0] if figure.movements else None


def _last(figure: Figure) -> int | None:
    return figure.movements[-1] if figure.movements else None


def _expanded(row: Figure | PostingLine) -> int | None:
    return row.known.expanded_ug if row.known and row.known.is_weighed else None


def _factor(row: Figure | PostingLine) -> int | None:
    return COVERAGE if row.known and row.known.is_weighed else None


def _unweighed(row: Figure | PostingLine) -> int | None:
    return row.known.booked_mg if row.known else None


def _flagged(row: Figure | PostingLine) -> int | None:
    return sum(count for _flag, count in row.known.flags) if row.known else None


KNOWN: tuple[Field, ...] = (
    Field(
        "expanded_uncertainty_ug",
        "Expanded uncertainty of the mass (micrograms); empty where nobody weighed it",
        "nonNegativeInteger",
        _expanded,
        required=False,
    ),
    Field(
        "coverage_factor",
        "Coverage factor k of the expanded uncertainty",
        "positiveInteger",
        _factor,
        required=False,
    ),
    Field(
        "unweighed_mg",
        "Mass in it that no weighing supports (milligrams), which the uncertainty leaves out",
        "nonNegativeInteger",
        _unweighed,
        required=False,
    ),
    Field(
        "flagged_readings",
        "Objections to readings behind it: scale past its check, load outside its range",
        "nonNegativeInteger",
        _flagged,
        required=False,
    ),
)
FIGURES: tuple[Field, ...] = (
    Field("section", "Section", "string", lambda f: f.section),
    Field("row", "Row", "string", lambda f: f.row),
    Field("polymer", "Polymer", "string", lambda f: f.material.polymer, required=False),
    Field("colour", "Colour", "string", lambda f: f.material.colour, required=False),
    Field("origin", "Origin", "string", lambda f: f.material.origin, required=False),
    Field("column", "Column", "string", lambda f: f.column),
    Field("unit", "Unit", "string", lambda f: f.unit),
    Field("quantity", "Quantity", "integer", lambda f: f.quantity),
    Field("movements", "Movements behind it", "nonNegativeInteger", lambda f: len(f.movements)),
    Field("first_movement", "First of them", "integer", _first, required=False),
    Field("last_movement", "Last of them", "integer", _last, required=False),
    *KNOWN,
)
POSTINGS: tuple[Field, ...] = (
    Field("movement", "Movement", "positiveInteger", lambda p: p.number),
    Field("line", "Line", "positiveInteger", lambda p: p.line),
    Field("kind", "Kind", "string", lambda p: p.kind),
    Field("subject", "Subject", "string", lambda p: p.subject, required=False),
    Field("happened_at", "Happened at (UTC)", "dateTime", lambda p: p.happened_at),
    Field("belongs_to", "Belongs to month", "gYearMonth", lambda p: p.belongs_to, required=False),
    Field("reverses", "Reverses movement", "integer", lambda p: p.reverses, required=False),
    Field("reason", "Reason", "string", lambda p: p.reason, required=False),
    Field("source", "From place", "string", lambda p: p.source),
    Field("target", "To place", "string", lambda p: p.target),
    Field("unit", "Unit", "string", lambda p: p.unit),
    Field("quantity", "Quantity", "positiveInteger", lambda p: p.quantity),
    Field("reading_mg", "Reading (mg)", "integer", lambda p: p.reading_mg, required=False),
    Field("scale", "Scale", "string", lambda p: p.scale, required=False),
    Field("cost_minor", "Cost brought in (minor units)", "integer", lambda p: p.cost_minor),
    Field("source_column", "Counts at source in", "string", lambda p: p.source_column, False),
    Field("target_column", "Counts at target in", "string", lambda p: p.target_column, False),
    *KNOWN,
)


def figures_csv(report: Report) -> bytes:
    """Return every figure of the report, one per line, as UTF-8."""
    return _written(FIGURES, listed(report))


def postings_csv(lines: Iterable[PostingLine]) -> bytes:
    """Return every posting, one per line, as UTF-8."""
    return _written(POSTINGS, lines)


def description(
    fields: Sequence[Field], *, url: str, title: str, keys: Sequence[str]
) -> dict[str, Any]:
    """Return the CSVW metadata of a file (W3C, Metadata Vocabulary for Tabular Data, 2015)."""
    return {
        "@context": ["http://www.w3.org/ns/csvw", {"@language": "en"}],
        "url": url,
        "dc:title": title,
        "dialect": {"encoding": "utf-8", "header": True, "delimiter": ",", "doubleQuote": True},
        "tableSchema": {
            "columns": [_described(field) for field in fields],
            "primaryKey": list(keys),
        },
    }


def described_figures(url: str, label: str) -> bytes:
    """Return the CSVW file for `figures_csv`."""
    title = f"Recovered material {label}: figures"
    keys = ("section", "row", "column")
    return _json(description(FIGURES, url=url, title=title, keys=keys))


def described_postings(url: str, label: str) -> bytes:
    """Return the CSVW file for `postings_csv`."""
    title = f"Recovered material {label}: postings"
    return _json(description(POSTINGS, url=url, title=title, keys=("movement", "line")))


# The apostrophe makes a spreadsheet show the rest as text; quotes alone do not stop it, for they
# are gone once the file is read.
def safe(text: str) -> str:
    """Return a text cell that no spreadsheet will run."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def _written(fields: Sequence[Field], rows: Iterable[Any]) -> bytes:
    # `newline=""`: the writer ends lines with CRLF itself, and a second translation would double
    # it.
    out = io.StringIO(newline="")
    writer = csv.writer(out, dialect="excel", lineterminator="\r\n")
    writer.writerow([field.name for field in fields])
    for row in rows:
        writer.writerow([_cell(field.value(row)) for field in fields])
    return out.getvalue().encode()


def _cell(value: Cell) -> str | int:
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    return safe(value) if isinstance(value, str) else value


def _described(field: Field) -> dict[str, Any]:
    return {
        "name": field.name,
        "titles": field.name,
        "dc:description": field.title,
        "datatype": field.datatype,
        "required": field.required,
    }


def _json(described: dict[str, Any]) -> bytes:
    return (json.dumps(described, indent=2, ensure_ascii=False) + "\n").encode()
