"""Finds what happened, in the order of its time, and turns it into events. Reads only.

Two kinds of row are told: movements of the ledger, and those entries of the history that move no
mass. They are read side by side, page by page, so that a question never reads a whole history.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from math import hypot
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.conf import settings
from django.db.models import F, Prefetch, Q, QuerySet, Value
from django.utils import timezone

from inventory.material.sums.heat import HeatSpread
from inventory.models import Event, Movement, Place, PlaceKind, Posting, Unit
from returns.models import ProductionBatch
from returns.tracing.sums import documents
from returns.tracing.sums.documents import Document, End, House, Line, Moved, Noted, Weighed
from returns.tracing.sums.steps import TOLD

# In the order of their letters: at one moment, a parcel is booked in and then weighed.
_NOTE, _MOVEMENT = "a", "b"
Position = tuple[datetime, str, int]
"""Where a page ended: moment, kind of row, and its number."""
_READ_AT_ONCE: Final = 200


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, as conditions of either table, and a last look at the finished event."""

    since: datetime | None = None
    until: datetime | None = None
    recorded_since: datetime | None = None
    recorded_until: datetime | None = None
    code: str = ""
    """Of a frame, parcel, box, lot, bin, batch or load."""
    is_newest_first: bool = False
    fits: Callable[[Document], bool] = field(default=lambda _event: True)


def house() -> House:
    """Return the addresses and the clock that events are written with."""
    zone = timezone.get_default_timezone()
    assert isinstance(zone, ZoneInfo)  # noqa: S101  as the settings make it
    return House(settings.BASE_URL, zone)


def events(
    question: Question, *, after: Position | None = None, rows_max: int = 0
) -> Iterator[tuple[Position, list[Document]]]:
    """Yield each row that happened with its fitting events, none for a row that does not fit.

    `rows_max` bounds how many rows are looked at; 0 is no bound.
    """
    where, looked = house(), 0
    while True:
        found = _positions(question, after)
        yield from _told(found, where, question)
        looked += len(found)
        if len(found) < _READ_AT_ONCE or 0 < rows_max <= looked:
            return
        after = found[-1]


def _positions(question: Question, after: Position | None) -> list[Position]:
    movements = _of_movements(question)
    notes = _of_notes(question)
    if after is not None:
        movements = _beyond(movements, after, _MOVEMENT, question, "happened_at")
        notes = _beyond(notes, after, _NOTE, question, "at")
    sign = "-" if question.is_newest_first else ""
    both = _as_rows(movements, "happened_at", _MOVEMENT).union(
        _as_rows(notes, "at", _NOTE), all=True
    )
    ordered = both.order_by(f"{sign}moment", f"{sign}sort", f"{sign}number_")
    return [(moment, sort, number) for moment, sort, number in ordered[:_READ_AT_ONCE]]


def _as_rows(rows: QuerySet[Any], moment: str, sort: str) -> QuerySet[Any, tuple[Any, ...]]:
    named: QuerySet[Any] = rows.order_by().annotate(
        moment=F(moment), sort=Value(sort), number_=F("pk")
    )
    return named.values_list("moment", "sort", "number_")


def _beyond(
    rows: QuerySet[Any], after: Position, sort: str, question: Question, moment: str
) -> QuerySet[Any]:
    at, last_sort, number = after
    far = "lt" if question.is_newest_first else "gt"
    beyond = Q(**{f"{moment}__{far}": at})
    if sort == last_sort:
        beyond |= Q(**{moment: at, f"pk__{far}": number})
    elif (sort < last_sort) == question.is_newest_first:
        beyond |= Q(**{moment: at})
    return rows.filter(beyond)


def _of_movements(question: Question) -> QuerySet[Movement]:
    # A reversal is no step of its own: it is told on the event that it takes back.
    rows = Movement.objects.filter(reverses=None)
    if question.code:
        touched = Place.objects.filter(
            Q(code=question.code) | Q(lot__code=question.code) | Q(part__code=question.code)
        )
        sides = Q(source__in=touched) | Q(target__in=touched)
        moved = Posting.objects.filter(sides).values("movement")
        rows = rows.filter(Q(subject=question.code) | Q(pk__in=moved))
    return _between(rows, question, "happened_at", "recorded_at")


def _of_notes(question: Question) -> QuerySet[Event]:
    rows = Event.objects.filter(name__in=TOLD)
    if question.code:
        rows = rows.filter(subject=question.code)
    return _between(rows, question, "at", "at")


def _between(
    rows: QuerySet[Any], question: Question, happened: str, recorded: str
) -> QuerySet[Any]:
    # A list and no mapping: in the history both moments are one column.
    limits = [
        (f"{happened}__gte", question.since),
        (f"{happened}__lt", question.until),
        (f"{recorded}__gte", question.recorded_since),
        (f"{recorded}__lt", question.recorded_until),
    ]
    for name, limit in limits:
        if limit is not None:
            rows = rows.filter(**{name: limit})
    return rows


def _told(
    found: Sequence[Position], where: House, question: Question
) -> Iterator[tuple[Position, list[Document]]]:
    moved = _moved([number for _at, sort, number in found if sort == _MOVEMENT])
    noted = _noted([number for _at, sort, number in found if sort == _NOTE])
    for position in found:
        _at, sort, number = position
        if sort == _MOVEMENT:
            told = documents.of_movement(moved[number], where)
        else:
            told = documents.of_note(noted[number], where)
        yield position, [one for one in told if question.fits(one)]


def _moved(numbers: Sequence[int]) -> Mapping[int, Moved]:
    rows = Movement.objects.filter(pk__in=numbers).select_related("reversed_by")
    sides = ("source__lot", "source__part", "target__lot", "target__part")
    lines = Posting.objects.select_related("reading", *sides).order_by("line")
    return {
        row.pk: _of_row(row) for row in rows.prefetch_related(Prefetch("postings", queryset=lines))
    }


def _of_row(row: Movement) -> Moved:
    postings = list(row.postings.all())
    lots = [one.target.lot for one in postings if row.kind == "grind" and one.target.lot]
    back: Movement | None = getattr(row, "reversed_by", None)
    return Moved(
        key=row.key,
        number=row.number,
        kind=row.kind,
        subject=row.subject,
        at=row.happened_at,
        recorded_at=row.recorded_at,
        lines=tuple(_line(one) for one in postings),
        mean_passes=HeatSpread.from_list(lots[0].heat).mean_passes if lots else None,
        taken_back_at=back.recorded_at if back else None,
    )


def _line(posting: Posting) -> Line:
    read = posting.reading
    return Line(
        source=_end(posting.source),
        target=_end(posting.target),
        quantity=posting.quantity,
        is_pieces=posting.source.unit == Unit.PIECE,
        weighed=None
        if read is None
        else Weighed(read.mass_mg, hypot(read.u_own_ug, read.u_shared_ug), read.scale_id, read.at),
    )


def _end(place: Place) -> End:
    if place.lot is not None:
        code = place.lot.code
    elif place.part is not None:
        code = place.part.code
    else:
        code = place.code if place.kind == PlaceKind.BOX else ""
    return End(str(place.kind), code, not place.is_boundary)


def _noted(numbers: Sequence[int]) -> Mapping[int, Noted]:
    rows = Event.objects.filter(pk__in=numbers)
    made = [row.subject for row in rows if row.name == "batches.mould"]
    pieces = dict(ProductionBatch.objects.filter(code__in=made).values_list("code", "pieces"))
    return {
        row.pk: Noted(
            key=row.key,
            name=row.name,
            subject=row.subject,
            at=row.at,
            detail=row.detail | {"pieces": pieces.get(row.subject, 0)},
        )
        for row in rows
    }
