"""How well the masses in the books are known: postings followed to the readings behind them.

A close freezes what every place carries, each as one source, so that what came after it is
followed from there; without a snapshot it is followed from the first posting on, with the same
result. Months are followed in `followed.py`. Reads only.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Min, Q, QuerySet

from inventory.ledger.sums.recipes import KINDS
from inventory.models import GrindRun, Month, Movement, Place, PlaceKind, Posting, Reading, Unit
from inventory.models.places import BOUNDARY
from inventory.months.queries import entries
from inventory.months.queries.entries import MATERIAL_KINDS, Entry
from inventory.weighing.queries import readings
from inventory.weighing.sums import traced
from inventory.weighing.sums.traced import (
    Account,
    MassUncertainty,
    MassWithReadings,
    Replay,
    Rest,
    Source,
    Step,
)

APART = frozenset({PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH})
"""Places that hold the mass of each frame apart."""

SHOWS_REST = frozenset(name for name, kind in KINDS.items() if kind.shows_rest)


def of_material() -> dict[str, MassUncertainty]:
    """Code of each box and lot -> how well what it holds now is known."""
    kinds = list(MATERIAL_KINDS)
    return _now(Q(source__kind__in=kinds) | Q(target__kind__in=kinds))


def of_every_place() -> dict[str, MassUncertainty]:
    """Code of each place that holds milligrams -> how well what it holds now is known."""
    return _now(Q())


def of_place(place: Place) -> MassUncertainty:
    """How well what one box or lot holds now is known. Its own postings tell all of it."""
    return _now(Q(source=place) | Q(target=place)).get(place.code, MassUncertainty())


def _now(touching: Q) -> dict[str, MassUncertainty]:
    return held_by(_walked_since(Posting.objects.filter(touching), ""))


def of_place_at(place: Place, number: int) -> MassUncertainty:
    """How well what one box or lot held after a movement is known."""
    month = Movement.objects.filter(number=number).values_list("month", flat=True).first() or ""
    rows = Posting.objects.filter(Q(source=place) | Q(target=place), movement__number__lte=number)
    return held_by(_walked_since(rows, month)).get(place.code, MassUncertainty())


def of_runs(runs: Sequence[GrindRun]) -> dict[str, MassUncertainty]:
    """Code of each grind run -> how well what lay in its box when it was proposed is known."""
    ordered = sorted(runs, key=lambda run: run.box_movement)
    boxes, numbers = ({run.box_id for run in ordered}, [run.box_movement for run in ordered])
    rows = Posting.objects.filter(
        Q(source__in=boxes) | Q(target__in=boxes), movement__number__lte=max(numbers, default=0)
    )
    months = Movement.objects.filter(number__in=numbers).aggregate(first=Min("month"))
    opened, end = _opening(rows, months["first"] or "")
    rows = rows.filter(movement__month__gt=end)
    places = entries.places_of(rows)
    walk, listed = begun(opened, places.values()), entries.read(rows, places)
    found, done, data = behind(rows, listed), 0, {}
    for run in ordered:
        upto = run.box_movement
        found.follow(walk, [entry for entry in listed if done < entry.number <= upto])
        done = upto
        data[run.code] = walk.at(run.box.code).known()
    return data


def in_house(subject: str) -> MassUncertainty:
    """How well what the house has of a frame is known, on all its shelves together."""
    rows = Place.objects.filter(kind__in=list(APART))
    held, shelves = story_of(subject).held, set(rows.values_list("code", flat=True))
    return MassWithReadings.total(
        mass for (place, _), mass in held.items() if place in shelves
    ).known()


def of_subject(subject: str) -> dict[str, MassUncertainty]:
    """Code of each place where something of a frame lies -> how well that is known."""
    return held_by(story_of(subject))


def story_of(subject: str) -> Replay:
    """All movements of one frame followed; they tell all of its mass."""
    return _walked(Posting.objects.filter(movement__subject=subject), {})


@dataclass(frozen=True, slots=True)
class Stretch:
    """Postings from a month on, each with its mass, and what each place held before and after."""

    moved: tuple[tuple[Entry, MassWithReadings], ...]
    opened: Mapping[str, MassWithReadings]
    held: Mapping[str, MassWithReadings]


def stretch(rows: QuerySet[Posting], since: str) -> Stretch:
    """Postings from a month on followed in one walk.

    `rows` hold all postings of whatever places are asked for, so that a mass has the same sources
    wherever it goes: what came and what left can be set against each other over any months.
    """
    opened, end = _opening(rows, since)
    rows = rows.filter(source__unit=Unit.MILLIGRAM, movement__month__gt=end)
    places = entries.places_of(rows)
    walk, listed = begun(opened, places.values()), entries.read(rows, places)
    found = behind(rows, listed)
    found.follow(walk, [entry for entry in listed if entry.month < since])
    before = by_place(walk.held)
    late = [entry for entry in listed if entry.month >= since]
    found.follow(walk, late)
    moved = tuple((entry, walk.moved[entry.number, entry.line]) for entry in late)
    return Stretch(moved, before, by_place(walk.held))


def held_by(walk: Replay) -> dict[str, MassUncertainty]:
    """Code of each place -> how well what it holds after a walk is known."""
    return {place: mass.known() for place, mass in by_place(walk.held).items()}


def snapshot(before: str) -> tuple[dict[Account, Source], str]:
    """The newest snapshot before a month ("" for the newest of all) and the month it ends."""
    kept = Month.objects.filter(figures__has_key="traced").order_by("-label")
    rows = kept.filter(label__lt=before) if before else kept
    newest = rows.values_list("figures__traced", "label").first()
    return (thawed(newest[0]), newest[1]) if newest else ({}, "")


def thawed(kept: Iterable[Sequence[Any]]) -> dict[Account, Source]:
    """What a close kept of every place, as `frozen` gave it, as sources again."""
    return {(row[0], row[1]): traced.thawed(row[2:]) for row in kept}


def frozen(walk: Replay) -> list[list[Any]]:
    """What every place carries out of a month that was followed, as its close keeps it."""
    return [[*account, *traced.frozen(source)] for account, source in walk.carried().items()]


def begun(opened: Mapping[Account, Source], places: Iterable[Place]) -> Replay:
    """A walk about to start from what every place carries; `places` are those on its way.

    Nothing is in doubt of a place in the house once it is empty.
    """
    codes: dict[str, set[str]] = {}
    for place in places:
        codes.setdefault(place.kind, set()).add(place.code)
    apart, outside, empty = (
        frozenset().union(*(codes.get(kind, ()) for kind in kinds))
        for kinds in (APART, BOUNDARY, frozenset(PlaceKind) - BOUNDARY)
    )
    return Replay(opened, apart=apart, outside=outside, cleared=empty)


def _walked_since(rows: QuerySet[Posting], before: str) -> Replay:
    """Postings followed from the newest snapshot before which none was booked that they undo."""
    opened, since = _opening(rows, before)
    return _walked(rows.filter(movement__month__gt=since), opened)


def _opening(rows: QuerySet[Posting], before: str) -> tuple[dict[Account, Source], str]:
    """That snapshot and the month it ends."""
    opened, since = snapshot(before)
    while since and (first := _first_undone(rows, since)):
        opened, since = snapshot(first)
    return opened, since


def _first_undone(rows: QuerySet[Posting], since: str) -> str | None:
    """The first month up to a snapshot of which something was taken back after it."""
    back = rows.filter(movement__month__gt=since, movement__reverses__month__lte=since)
    first: str | None = back.aggregate(first=Min("movement__reverses__month"))["first"]
    return first


def _walked(rows: QuerySet[Posting], opened: Mapping[Account, Source]) -> Replay:
    places = entries.places_of(rows)
    walk, listed = begun(opened, places.values()), entries.read(rows, places)
    behind(rows, listed).follow(walk, listed)
    return walk


@dataclass(frozen=True, slots=True)
class Sources:
    """What stands behind some postings, read at once however many they are.

    `sources` by reading; `left` of a strip-down are readings of its moment that moved nothing,
    lenses that wait to be posted; `runs` by code.
    """

    sources: Mapping[int, Source]
    left: Mapping[int, tuple[Source, ...]]
    runs: Mapping[str, Rest]

    def follow(self, walk: Replay, found: Iterable[Entry]) -> None:
        """Walk on through some of these postings."""
        listed = [entry for entry in found if entry.source.unit == Unit.MILLIGRAM]
        codes = dict.fromkeys(entry.subject for entry in listed if entry.kind == "grind")
        marks = [self.runs[code] for code in codes if code in self.runs]
        walk.follow(self._steps(listed), [(rest.place, rest.movement) for rest in marks])

    def _steps(self, listed: Iterable[Entry]) -> Iterator[Step]:
        for entry in listed:
            reading = entry.reading_id
            yield Step(
                key=(entry.number, entry.line),
                source=entry.source.code,
                target=entry.target.code,
                subject=entry.subject,
                quantity_mg=entry.quantity,
                reading=self.sources.get(reading) if reading is not None else None,
                undoes=None if entry.reverses is None else (entry.reverses, entry.line),
                sets=_set_place(entry),
                left=self.left.get(entry.number, ()),
                rest_of=self.runs.get(entry.subject) if entry.kind == "grind" else None,
            )


def behind(rows: QuerySet[Posting], listed: Iterable[Entry]) -> Sources:
    """What stands behind postings; `listed` are the same as entries."""
    read = Reading.objects.filter(pk__in=rows.order_by().values("reading"))
    sources = {row.pk: readings.source(row) for row in read}
    return Sources(sources, _left(rows), _runs(listed))


def _set_place(entry: Entry) -> str:
    if entry.kind not in SHOWS_REST or entry.reverses is not None:
        return ""
    if entry.source.kind == PlaceKind.UNEXPLAINED:
        return entry.target.code
    return entry.source.code if entry.target.kind == PlaceKind.UNEXPLAINED else ""


def _left(rows: QuerySet[Posting]) -> dict[int, tuple[Source, ...]]:
    """Strip-down -> readings of its moment that moved nothing."""
    taken = Movement.objects.filter(kind="strip_down", reverses=None)
    moments = dict(
        taken.filter(pk__in=rows.order_by().values("movement")).values_list("number", "happened_at")
    )
    kept: dict[datetime, tuple[Source, ...]] = {}
    waiting = Reading.objects.filter(postings=None, at__in=taken.values("happened_at"))
    for row in waiting if moments else ():
        kept[row.at] = (*kept.get(row.at, ()), readings.source(row))
    return {number: kept[at] for number, at in moments.items() if at in kept}


def _runs(listed: Iterable[Entry]) -> dict[str, Rest]:
    codes = {entry.subject for entry in listed if entry.kind == "grind"}
    rows = GrindRun.objects.filter(code__in=codes).select_related("box") if codes else ()
    return {run.code: Rest(run.box.code, run.box_movement, run.box_mg) for run in rows}


def by_place(held: Mapping[Account, MassWithReadings]) -> dict[str, MassWithReadings]:
    """Code of each place -> all that it holds, subjects together."""
    found: dict[str, MassWithReadings] = {}
    for (place, _subject), mass in held.items():
        found.setdefault(place, MassWithReadings()).add(mass)
    return found
