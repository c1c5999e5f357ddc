"""The postings of a month as the accountant reads them, each with the figures it counts in."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from inventory.models import Movement, Place, Reading
from inventory.months.queries.entries import Entry
from inventory.months.queries.recovered.shapes import Posted, Report
from inventory.weighing.sums.traced import MassUncertainty


@dataclass(frozen=True, slots=True)
class PostingLine:
    """One posting. `source_column` and `target_column` name the figures it is part of."""

    number: int
    line: int
    kind: str
    subject: str
    happened_at: datetime
    belongs_to: str
    reverses: int | None
    reason: str
    source: str
    target: str
    unit: str
    quantity: int
    reading_mg: int | None
    scale: str
    cost_minor: int
    source_column: str
    target_column: str
    from_place: Place
    to_place: Place
    known: MassUncertainty | None


def of_month(report: Report, numbers: Iterable[int] | None = None) -> list[PostingLine]:
    """Return all postings of a month in order, or those of some movements, named as in the report.

    A movement's cost stands on its first line only, so that the column adds up.
    """
    movements = {
        movement.number: movement
        for movement in Movement.objects.filter(month=report.label).select_related("reverses")
    }
    wanted = movements.keys() if numbers is None else frozenset(numbers)
    found = [posted for posted in report.postings if posted.entry.number in wanted]
    readings = _readings(posted.entry for posted in found)
    return list(_lines(found, movements, readings, report.names["scales"]))


def _readings(entries: Iterable[Entry]) -> dict[int, Reading]:
    wanted = {entry.reading_id for entry in entries if entry.reading_id is not None}
    return {row.pk: row for row in Reading.objects.filter(pk__in=wanted).select_related("scale")}


def _lines(
    found: Iterable[Posted],
    movements: Mapping[int, Movement],
    readings: Mapping[int, Reading],
    scale_names: Mapping[str, str],
) -> Iterator[PostingLine]:
    for posted in found:
        entry = posted.entry
        movement = movements[entry.number]
        reading = readings.get(entry.reading_id) if entry.reading_id is not None else None
        yield PostingLine(
            number=entry.number,
            line=entry.line,
            kind=entry.kind,
            subject=entry.subject,
            happened_at=movement.happened_at,
            belongs_to=movement.belongs_to,
            reverses=movement.reverses.number if movement.reverses else None,
            reason=movement.reason,
            source=entry.source.code,
            target=entry.target.code,
            unit=entry.source.unit,
            quantity=entry.quantity,
            reading_mg=reading.mass_mg if reading else None,
            # The name at the close: a scale that was renamed since must not change a closed
            # report's file.
            scale=scale_names.get(str(reading.scale_id), reading.scale.name) if reading else "",
            cost_minor=entry.cost_minor if entry.line == 1 else 0,
            source_column=entry.column(entry.source) or "",
            target_column=entry.column(entry.target) or "",
            from_place=entry.source,
            to_place=entry.target,
            known=posted.known,
        )
