"""How well the masses in the books are known: postings followed to the readings behind them.

A close freezes what every place carries, each as one source, so that a month needs its own
postings only; what it has no snapshot for is followed from the first posting on, with the same
result. Reads only.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Any

from django.db.models import Q

from inventory import weighing
from inventory.models import GrindRun, Month, Movement, Place, PlaceKind, Posting, Reading, Unit
from inventory.models.places import BOUNDARY
from inventory.queries.recovered import entries
from inventory.queries.recovered.entries import MATERIAL_KINDS, Entry
from inventory.sums import traced
from inventory.sums.traced import Account, Known, Rest, Source, Step, Traced, Walk

APART = frozenset({PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH})
"""Places that hold the mass of each frame apart."""

SET_BY_READING = frozenset({"count_mass", "post_frame"})
"""Kinds whose difference to the books comes with the reading of what lies there afterwards."""


def of_month(
    label: str, found: Iterable[Entry] | None = None, opened: Mapping[Account, Source] | None = None
) -> Walk:
    """A month's postings followed, from what its places carried into it."""
    walk = _walk(opening(label) if opened is None else opened)
    listed = entries.of_month(label, entries.all_places()) if found is None else found
    return _follow(walk, listed)


def is_stated(label: str) -> bool:
    """False for a month that was closed before every mass had its uncertainty."""
    closed = Month.objects.filter(label=label).first()
    return closed is None or "traced" in closed.figures


def opening(label: str) -> dict[Account, Source]:
    """What every place carries into a month, from the last snapshot before it."""
    found, since = _snapshot(label)
    booked = Movement.objects.filter(month__gt=since, month__lt=label)
    places = entries.all_places()
    for month in booked.order_by("month").values_list("month", flat=True).distinct():
        found = _follow(_walk(found), entries.of_month(month, places)).carried()
    return found


def frozen(walk: Walk) -> list[list[Any]]:
    """What every place carries out of a month that was followed, as its close keeps it."""
    return [[*account, *traced.frozen(source)] for account, source in walk.carried().items()]


def of_material() -> dict[str, Known]:
    """Code of each box and lot -> how well what it holds now is known."""
    kinds = list(MATERIAL_KINDS)
    return _now(Q(source__kind__in=kinds) | Q(target__kind__in=kinds))


def of_every_place() -> dict[str, Known]:
    """Code of each place that holds milligrams -> how well what it holds now is known."""
    return _now(Q())


def of_place(place: Place) -> Known:
    """How well what one box or lot holds now is known. Its own postings tell all of it."""
    return _now(Q(source=place) | Q(target=place)).get(place.code, Known())


def _now(touching: Q) -> dict[str, Known]:
    found, since = _snapshot("")
    rows = Posting.objects.filter(touching, movement__month__gt=since)
    return held_by(_follow(_walk(found), entries.read(rows, entries.places_of(rows))))


def of_place_at(place: Place, number: int) -> Known:
    """How well what one box or lot held after a movement is known."""
    month = Movement.objects.filter(number=number).values_list("month", flat=True).first() or ""
    found, since = _snapshot(month)
    rows = Posting.objects.filter(
        Q(source=place) | Q(target=place),
        movement__month__gt=since,
        movement__number__lte=number,
    )
    walk = _follow(_walk(found), entries.read(rows, entries.places_of(rows)))
    return held_by(walk).get(place.code, Known())


def moved(labels: Iterable[str]) -> dict[tuple[int, int], Traced]:
    """Movement and line -> mass, of some months; without those that state no uncertainty."""
    found: dict[tuple[int, int], Traced] = {}
    for label in sorted(set(labels)):
        if is_stated(label):
            found |= of_month(label).moved
    return found


def in_house(subject: str) -> Known:
    """How well what the house has of a frame is known, on all its shelves together."""
    held, shelves = story_of(subject).held, _codes(APART)
    return Traced.total(mass for (place, _), mass in held.items() if place in shelves).known()


def of_subject(subject: str) -> dict[str, Known]:
    """Code of each place where something of a frame lies -> how well that is known."""
    return held_by(story_of(subject))


def story_of(subject: str) -> Walk:
    """All movements of one frame followed; they tell all of its mass."""
    rows = Posting.objects.filter(movement__subject=subject)
    return _follow(_walk({}), entries.read(rows, entries.places_of(rows)))


def held_by(walk: Walk) -> dict[str, Known]:
    """Code of each place -> how well what it holds after a walk is known."""
    return {place: mass.known() for place, mass in _by_place(walk.held).items()}


def by_cell(
    walk: Walk, opened: Mapping[Account, Source], found: Iterable[Entry]
) -> dict[str, dict[str, Traced]]:
    """Code of a place -> column -> mass, with "opening" and "closing" among the columns."""
    cells: dict[str, dict[str, Traced]] = {}
    for account, source in opened.items():
        cells.setdefault(account[0], {}).setdefault("opening", Traced()).add(Traced.of(source))
    for code, held in _by_place(walk.held).items():
        cells.setdefault(code, {})["closing"] = held
    for entry in found:
        moved = walk.moved.get((entry.number, entry.line))
        for place, sign in ((entry.source, -1), (entry.target, 1)):
            column = entry.column(place)
            if column and moved is not None:
                cells.setdefault(place.code, {}).setdefault(column, Traced()).add(moved, sign)
    return cells


def _snapshot(before: str) -> tuple[dict[Account, Source], str]:
    """The newest snapshot before a month ("" for the newest of all) and the month it ends."""
    rows = Month.objects.order_by("-label")
    for month in rows.filter(label__lt=before) if before else rows:
        kept = month.figures.get("traced")
        if kept is not None:
            return {(row[0], row[1]): traced.thawed(row[2:]) for row in kept}, month.label
    return {}, ""


def _walk(opened: Mapping[Account, Source]) -> Walk:
    return Walk(opened, apart=_codes(APART), outside=_codes(BOUNDARY))


def _codes(kinds: Iterable[PlaceKind]) -> frozenset[str]:
    return frozenset(Place.objects.filter(kind__in=list(kinds)).values_list("code", flat=True))


def _follow(walk: Walk, found: Iterable[Entry]) -> Walk:
    listed = [entry for entry in found if entry.source.unit == Unit.MILLIGRAM]
    runs = _runs(listed)
    walk.follow(_steps(listed, runs), [(rest.place, rest.movement) for rest in runs.values()])
    return walk


def _steps(listed: list[Entry], runs: Mapping[str, Rest]) -> Iterator[Step]:
    sources, left = _sources(listed), _left(listed)
    lines = {(entry.number, entry.line) for entry in listed}
    for entry in listed:
        undoes = (entry.reverses, entry.line) if entry.reverses is not None else None
        yield Step(
            key=(entry.number, entry.line),
            source=entry.source.code,
            target=entry.target.code,
            subject=entry.subject,
            quantity_mg=entry.quantity,
            reading=sources.get(entry.reading_id) if entry.reading_id is not None else None,
            undoes=undoes if undoes in lines else None,
            sets=_set_place(entry),
            left=left.get(entry.number, ()),
            rest_of=runs.get(entry.subject) if entry.kind == "grind" else None,
        )


def _set_place(entry: Entry) -> str:
    if entry.kind not in (*SET_BY_READING, "strip_down") or entry.reverses is not None:
        return ""
    if entry.source.kind == PlaceKind.DIFFERENCE:
        return entry.target.code
    return entry.source.code if entry.target.kind == PlaceKind.DIFFERENCE else ""


def _left(listed: Iterable[Entry]) -> dict[int, tuple[Source, ...]]:
    """Strip-down -> readings of its moment that moved nothing: lenses that wait to be posted."""
    numbers = {entry.number for entry in listed if entry.kind == "strip_down"}
    moments = dict(
        Movement.objects.filter(number__in=numbers, reverses=None).values_list(
            "number", "happened_at"
        )
    )
    kept: dict[datetime, tuple[Source, ...]] = {}
    for row in Reading.objects.filter(postings=None, at__in=set(moments.values())):
        kept[row.at] = (*kept.get(row.at, ()), weighing.source(row))
    return {number: kept[at] for number, at in moments.items() if at in kept}


def _sources(listed: Iterable[Entry]) -> dict[int, Source]:
    wanted = {entry.reading_id for entry in listed if entry.reading_id is not None}
    return {row.pk: weighing.source(row) for row in Reading.objects.filter(pk__in=wanted)}


def _runs(listed: Iterable[Entry]) -> dict[str, Rest]:
    codes = {entry.subject for entry in listed if entry.kind == "grind"}
    rows = GrindRun.objects.filter(code__in=codes).select_related("box") if codes else ()
    return {run.code: Rest(run.box.code, run.box_movement, run.box_mg) for run in rows}


def _by_place(held: Mapping[Account, Traced]) -> dict[str, Traced]:
    found: dict[str, Traced] = {}
    for (place, _subject), mass in held.items():
        found.setdefault(place, Traced()).add(mass)
    return found
