"""The formats of the report by name, for the pages and the command alike."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from django.utils import timezone

from inventory.months.queries.recovered import Report, lines
from inventory.months.reports import document, evidence, interchange, tabular, workbook
from inventory.months.sums.calendar_month import Month

CSVW_SUFFIX = "-metadata.json"


@dataclass(frozen=True, slots=True)
class Format:
    """How a report becomes bytes; `describe` makes the CSVW file beside it, where there is one."""

    suffix: str
    media_type: str
    make: Callable[[Report], bytes]
    describe: Callable[[str, str], bytes] | None = None


def _postings(report: Report) -> bytes:
    return tabular.postings_csv(lines.of_month(report))


def _workbook(report: Report) -> bytes:
    return workbook.report_xlsx(report, lines.of_month(report))


def _evidence(report: Report) -> bytes:
    month = Month.parse(report.label)
    file = io.BytesIO()
    evidence.pack(month, month, at=timezone.now(), to=file)
    return file.getvalue()


CSV = "text/csv; charset=utf-8; header=present"
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
FORMATS: dict[str, Format] = {
    "csv": Format(".csv", CSV, tabular.figures_csv, tabular.described_figures),
    "postings": Format("-postings.csv", CSV, _postings, tabular.described_postings),
    "xlsx": Format(".xlsx", XLSX, _workbook),
    "json": Format(".json", "application/json", interchange.report_json),
    "evidence": Format("-evidence.zip", "application/zip", _evidence),
    "pdf": Format(".pdf", "application/pdf", document.report_pdf),
}


def written(report: Report, name: str, output: Path) -> Iterator[tuple[Path, bytes]]:
    """Yield the file, and for CSV its description beside it, as W3C's tabular model expects."""
    chosen = FORMATS[name]
    yield output, chosen.make(report)
    if chosen.describe is not None:
        beside = output.with_name(output.name + CSVW_SUFFIX)
        yield beside, chosen.describe(output.name, report.label)
