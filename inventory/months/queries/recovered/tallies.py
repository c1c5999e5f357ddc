"""Frames counted, trust in the credited mass, and what came in late."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from math import ceil

from django.db.models import Max, Q

from inventory import clock
from inventory.models import Movement, PlaceKind, Posting, Reading
from inventory.months.queries.entries import Entry
from inventory.months.queries.recovered.shapes import Cell, Frames, Late, Trust
from inventory.months.queries.replays import MonthReplay
from inventory.weighing.queries import readings
from inventory.weighing.sums import weighing as sums
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings

MENDED = "mended"
LENSES = "lenses"


def frames(replay: MonthReplay) -> Frames:
    """Count frames by what happened to them; an action that was reversed counts back.
    What is posted under a frame's tag says by its movement's reason what it was.
    """
    listed = [entry for entry in replay.entries if entry.subject]
    stripped = {entry.number for entry in listed if entry.kind == "strip_down"}
    boxed = {e.number for e in listed if e.kind == "strip_down" and _touches(e, "box")}
    posted = [e for e in listed if e.kind == "post_frame" and _touches(e, PlaceKind.WEARERS)]
    return Frames(
        received=_count(entry for entry in listed if entry.kind == "weigh_in"),
        mended=_count(entry for entry in posted if entry.reason == MENDED),
        unmended=_count(entry for entry in posted if entry.reason not in (MENDED, LENSES)),
        reground=_count(entry for entry in listed if entry.number in boxed),
        discarded=_count(entry for entry in listed if entry.number in stripped - boxed),
        held=_held(replay),
    )


def _touches(entry: Entry, kind: str) -> bool:
    return kind in (entry.source.kind, entry.target.kind)


def _count(entries: Iterable[Entry]) -> Cell:
    """Count one per subject, however many movements and lines it took; minus one if only undone."""
    net: dict[str, dict[int, int]] = {}
    for entry in entries:
        # By number: the lines of one movement count once. A reversal has a number of its own and
        # takes its movement back.
        net.setdefault(entry.subject, {})[entry.number] = entry.sign
    signs = [sum(moved.values()) for moved in net.values()]
    numbers = sorted({number for moved in net.values() for number in moved})
    return Cell(sum((sign > 0) - (sign < 0) for sign in signs), tuple(numbers))


def _held(replay: MonthReplay) -> Cell:
    """Count subjects with mass on hold as the month ended, each with its last movement there."""
    there = replay.on_hold
    shelves = [pk for pk, place in replay.places.items() if place.kind == PlaceKind.HOLD]
    rows = Posting.objects.filter(
        Q(source__in=shelves) | Q(target__in=shelves),
        movement__month__lte=replay.label,
        movement__subject__in=there,
    )
    last = rows.order_by().values_list("movement__subject").annotate(Max("movement__number"))
    return Cell(len(there), tuple(sorted(number for _subject, number in last)))


def trust(entries: Iterable[Entry], scale_names: Mapping[str, str]) -> Trust:
    """Return the expanded uncertainty (k = 2) of the mass credited from returns.

    Parts that all readings on one scale share add up linearly (GUM 5.2.2, note 1). A reading
    that a reversal took back counts for nothing. A credited posting without a reading of its own
    (a remainder by subtraction) is counted apart.
    """
    credited = [entry for entry in entries if _is_credit(entry)]
    weight: Counter[int] = Counter()
    for entry in credited:
        if entry.reading_id is not None:
            weight[entry.reading_id] += entry.sign
    found = _readings(weight)
    # The sign alone: a reading behind several lines is still one weighing and must not count twice.
    summed = sums.combine(
        ((weight[r.pk] > 0) - (weight[r.pk] < 0), readings.measured(r)) for r in found
    )
    return Trust(
        credited_mg=sum(entry.sign * entry.quantity for entry in credited),
        weighed_mg=sum(e.sign * e.quantity for e in credited if e.reading_id is not None),
        readings=len(found),
        unweighed_postings=sum(1 for entry in credited if entry.reading_id is None),
        # Up: an uncertainty is never made smaller by rounding.
        expanded_ug=ceil(sums.expanded(summed.u_mg) * 1000),
        flags=_flags(found, scale_names),
    )


def flags(
    entries: Iterable[Entry], scale_names: Mapping[str, str]
) -> tuple[tuple[str, str, int], ...]:
    """Return what was out of order with the scales behind any posting of the month."""
    wanted = {entry.reading_id for entry in entries if entry.reading_id is not None}
    flagged = Reading.objects.filter(pk__in=wanted).exclude(flags=[])
    return _flags(flagged.select_related("scale"), scale_names)


def _is_credit(entry: Entry) -> bool:
    return entry.kind == "strip_down" and _touches(entry, "box")


def _readings(weight: Mapping[int, int]) -> list[Reading]:
    wanted = [pk for pk, count in weight.items() if count]
    return list(Reading.objects.filter(pk__in=wanted).select_related("scale").order_by("pk"))


def _flags(
    readings: Iterable[Reading], scale_names: Mapping[str, str]
) -> tuple[tuple[str, str, int], ...]:
    found = Counter(
        (scale_names.get(str(reading.scale_id), reading.scale.name), flag)
        for reading in readings
        for flag in reading.flags
    )
    return tuple((scale, flag, count) for (scale, flag), count in sorted(found.items()))


def late(replay: MonthReplay) -> tuple[Late, ...]:
    """Return movements booked in this month that belong to one closed before them."""
    rows = Movement.objects.filter(month=replay.label).exclude(belongs_to="").order_by("number")
    listed = list(rows.select_related("reverses").prefetch_related("postings__source"))
    masses = {row.number: MassWithReadings() for row in listed}
    for entry, mass in replay.moved:
        if entry.number in masses:
            masses[entry.number].add(mass)
    return tuple(_late(row, masses[row.number].known()) for row in listed)


def _late(movement: Movement, known: MassUncertainty) -> Late:
    moved: Counter[str] = Counter()
    for posting in movement.postings.all():
        moved[posting.source.unit] += posting.quantity
    day = clock.day_of(movement.happened_at)
    return Late(
        number=movement.number,
        kind=movement.kind,
        subject=movement.subject,
        happened_on=day.isoformat(),
        belongs_to=movement.belongs_to,
        mass_mg=moved["mg"],
        pieces=moved["pc"],
        reverses=movement.reverses.number if movement.reverses else None,
        known=known,
    )
