"""The uncertainty of the masses in the books: postings are replayed to the readings behind them.

A close freezes what every place carries, each as one source, so that what came after is replayed
from there; without a snapshot the replay starts at the first posting, with the same result.
Whole months are replayed in `months/queries/replays.py`. Reads only.
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

APART = frozenset(
    {PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH, PlaceKind.SORTING, PlaceKind.KEPT}
)
"""Places where the mass of each frame, or of each load of goods, is kept apart."""

SHOWS_REST = frozenset(name for name, kind in KINDS.items() if kind.shows_rest)


def of_material() -> dict[str, MassUncertainty]:
    """Return code of each box and lot -> the uncertainty of what it holds now."""
    kinds = list(MATERIAL_KINDS)
    return _now(Q(source__kind__in=kinds) | Q(target__kind__in=kinds))


def of_every_place() -> dict[str, MassUncertainty]:
    """Return code of each place that holds milligrams -> the uncertainty of what it holds now."""
    return _now(Q())


def of_place(place: Place) -> MassUncertainty:
    """Return the uncertainty of what one box or lot holds now. Its own postings are enough."""
    return _now(Q(source=place) | Q(target=place)).get(place.code, MassUncertainty())


def _now(touching: Q) -> dict[str, MassUncertainty]:
    return held_by(_replayed_since(Posting.objects.filter(touching), ""))


def of_place_at(place: Place, number: int) -> MassUncertainty:
    """Return the uncertainty of what one box or lot held after a movement."""
    month = Movement.objects.filter(number=number).values_list("month", flat=True).first() or ""
    rows = Posting.objects.filter(Q(source=place) | Q(target=place), movement__number__lte=number)
    return held_by(_replayed_since(rows, month)).get(place.code, MassUncertainty())


def of_runs(runs: Sequence[GrindRun]) -> dict[str, MassUncertainty]:
    """Return code of each grind run -> the uncertainty of what its box held when proposed."""
    # One replay for all runs, stopped at each one's movement: a replay for each would read the same
    # postings again and again.
    ordered = sorted(runs, key=lambda run: run.box_movement)
    boxes, numbers = ({run.box_id for run in ordered}, [run.box_movement for run in ordered])
    rows = Posting.objects.filter(
        Q(source__in=boxes) | Q(target__in=boxes), movement__number__lte=max(numbers, default=0)
    )
    months = Movement.objects.filter(number__in=numbers).aggregate(first=Min("month"))
    opened, end = _opening(rows, months["first"] or "")
    rows = rows.filter(movement__month__gt=end)
    places = entries.places_of(rows)
    replay, listed = begun(opened, places.values()), entries.read(rows, places)
    found, done, data = sources(rows, listed), 0, {}
    for run in ordered:
        upto = run.box_movement
        found.follow(replay, [entry for entry in listed if done < entry.number <= upto])
        done = upto
        data[run.code] = replay.at(run.box.code).known()
    return data


def in_house(subject: str) -> MassUncertainty:
    """Return the uncertainty of what the house holds of a frame, on all its shelves together."""
    rows = Place.objects.filter(kind__in=list(APART))
    held, shelves = story_of(subject).held, set(rows.values_list("code", flat=True))
    return MassWithReadings.total(
        mass for (place, _), mass in held.items() if place in shelves
    ).known()


def of_subject(subject: str) -> dict[str, MassUncertainty]:
    """Return code of each place where something of a frame lies -> the uncertainty of that."""
    return held_by(story_of(subject))


def story_of(subject: str) -> Replay:
    """Replay all movements of one frame; they account for all of its mass."""
    return _replayed(Posting.objects.filter(movement__subject=subject), {})


@dataclass(frozen=True, slots=True)
class Stretch:
    """Postings from a month on, each with its mass, and what each place held before and after."""

    moved: tuple[tuple[Entry, MassWithReadings], ...]
    opened: Mapping[str, MassWithReadings]
    held: Mapping[str, MassWithReadings]


def stretch(rows: QuerySet[Posting], since: str) -> Stretch:
    """Replay postings from a month on, all in one.

    `rows` hold all postings of whatever places are asked for, so that a mass has the same sources
    wherever it goes: what came and what left can be set against each other over any months.
    """
    opened, end = _opening(rows, since)
    rows = rows.filter(source__unit=Unit.MILLIGRAM, movement__month__gt=end)
    places = entries.places_of(rows)
    replay, listed = begun(opened, places.values()), entries.read(rows, places)
    found = sources(rows, listed)
    found.follow(replay, [entry for entry in listed if entry.month < since])
    before = by_place(replay.held)
    late = [entry for entry in listed if entry.month >= since]
    found.follow(replay, late)
    moved = tuple((entry, replay.moved[entry.number, entry.line]) for entry in late)
    return Stretch(moved, before, by_place(replay.held))


def held_by(replay: Replay) -> dict[str, MassUncertainty]:
    """Return code of each place -> the uncertainty of what it holds after a replay."""
    return {place: mass.known() for place, mass in by_place(replay.held).items()}


def snapshot(before: str) -> tuple[dict[Account, Source], str]:
    """Return the newest snapshot before a month ("" for the newest) and the month that it ends."""
    # A month that was closed before closes kept this is passed over: the replay then starts
    # earlier.
    kept = Month.objects.filter(figures__has_key="traced").order_by("-label")
    rows = kept.filter(label__lt=before) if before else kept
    newest = rows.values_list("figures__traced", "label").first()
    return (thawed(newest[0]), newest[1]) if newest else ({}, "")


def thawed(kept: Iterable[Sequence[Any]]) -> dict[Account, Source]:
    """Return what a close kept of every place, in the form that `frozen` gave it, as sources."""
    return {(row[0], row[1]): traced.thawed(row[2:]) for row in kept}


def frozen(replay: Replay) -> list[list[Any]]:
    """Return what every place carries out of a replayed month, in the form that a close keeps."""
    return [[*account, *traced.frozen(source)] for account, source in replay.carried().items()]


def begun(opened: Mapping[Account, Source], places: Iterable[Place]) -> Replay:
    """Return a replay that starts from what every place carries; `places` are those on its way.

    Once a place in the house is empty, nothing about it is uncertain.
    """
    codes: dict[str, set[str]] = {}
    for place in places:
        codes.setdefault(place.kind, set()).add(place.code)
    apart, outside, empty = (
        frozenset().union(*(codes.get(kind, ()) for kind in kinds))
        for kinds in (APART, BOUNDARY, frozenset(PlaceKind) - BOUNDARY)
    )
    return Replay(opened, apart=apart, outside=outside, cleared=empty)


def _replayed_since(rows: QuerySet[Posting], before: str) -> Replay:
    """Replay postings from the newest snapshot before which none was booked that they undo."""
    opened, since = _opening(rows, before)
    return _replayed(rows.filter(movement__month__gt=since), opened)


def _opening(rows: QuerySet[Posting], before: str) -> tuple[dict[Account, Source], str]:
    """Return the newest snapshot before which nothing was booked that the rows take back."""
    opened, since = snapshot(before)
    # A reversal must take back the very readings that it undoes, and a snapshot has melted those
    # into one source; so the replay goes back to before they came. It may take several steps.
    while since and (first := _first_undone(rows, since)):
        opened, since = snapshot(first)
    return opened, since


def _first_undone(rows: QuerySet[Posting], since: str) -> str | None:
    """Return the first month before a snapshot of which something was taken back after it."""
    back = rows.filter(movement__month__gt=since, movement__reverses__month__lte=since)
    first: str | None = back.aggregate(first=Min("movement__reverses__month"))["first"]
    return first


def _replayed(rows: QuerySet[Posting], opened: Mapping[Account, Source]) -> Replay:
    places = entries.places_of(rows)
    replay, listed = begun(opened, places.values()), entries.read(rows, places)
    sources(rows, listed).follow(replay, listed)
    return replay


@dataclass(frozen=True, slots=True)
class Sources:
    """What stands behind some postings, read in a few queries however many postings there are.

    `sources` is by reading; `left` has, for a strip-down, the readings of its moment that moved
    nothing, such as lenses that wait to be posted; `runs` is by code.
    """

    sources: Mapping[int, Source]
    left: Mapping[int, tuple[Source, ...]]
    runs: Mapping[str, Rest]

    def follow(self, replay: Replay, found: Iterable[Entry]) -> None:
        """Replay some of these postings, going on from where the replay stands."""
        listed = [entry for entry in found if entry.source.unit == Unit.MILLIGRAM]
        codes = dict.fromkeys(entry.subject for entry in listed if entry.kind == "grind")
        marks = [self.runs[code] for code in codes if code in self.runs]
        replay.follow(self._steps(listed), [(rest.place, rest.movement) for rest in marks])

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


def sources(rows: QuerySet[Posting], listed: Iterable[Entry]) -> Sources:
    """Return what stands behind postings; `listed` are the same postings as entries."""
    # A subquery: the ids of a year's readings may be more parameters than SQLite takes.
    read = Reading.objects.filter(pk__in=rows.order_by().values("reading"))
    sources = {row.pk: readings.source(row) for row in read}
    return Sources(sources, _left(rows), _runs(listed))


def _set_place(entry: Entry) -> str:
    # A reversal shows nothing of its own: it takes back the difference as it was.
    if entry.kind not in SHOWS_REST or entry.reverses is not None:
        return ""
    if entry.source.kind == PlaceKind.UNEXPLAINED:
        return entry.target.code
    return entry.source.code if entry.target.kind == PlaceKind.UNEXPLAINED else ""


def _left(rows: QuerySet[Posting]) -> dict[int, tuple[Source, ...]]:
    """Return strip-down -> the readings of its moment that moved nothing."""
    taken = Movement.objects.filter(kind="strip_down", reverses=None)
    moments = dict(
        taken.filter(pk__in=rows.order_by().values("movement")).values_list("number", "happened_at")
    )
    kept: dict[datetime, tuple[Source, ...]] = {}
    # Found by the moment alone, for a rule reads the clock once: readings and movement of one
    # strip-down carry the same instant to the microsecond.
    waiting = Reading.objects.filter(postings=None, at__in=taken.values("happened_at"))
    for row in waiting if moments else ():
        kept[row.at] = (*kept.get(row.at, ()), readings.source(row))
    return {number: kept[at] for number, at in moments.items() if at in kept}


def _runs(listed: Iterable[Entry]) -> dict[str, Rest]:
    codes = {entry.subject for entry in listed if entry.kind == "grind"}
    rows = GrindRun.objects.filter(code__in=codes).select_related("box") if codes else ()
    return {run.code: Rest(run.box.code, run.box_movement, run.box_mg) for run in rows}


def by_place(held: Mapping[Account, MassWithReadings]) -> dict[str, MassWithReadings]:
    """Return code of each place -> all that it holds, its subjects together."""
    found: dict[str, MassWithReadings] = {}
    for (place, _subject), mass in held.items():
        found.setdefault(place, MassWithReadings()).add(mass)
    return found
