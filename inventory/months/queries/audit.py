"""Checks the whole ledger against itself: every cached or closed figure is derived again.

Each check reads the rows as they are, trusts no cache and no code path that wrote them, and says
what it found. Nothing is mended here.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

from django.db import connection
from django.db.models import Sum
from django.utils import timezone

from inventory import triggers
from inventory.ledger.sums import recipes
from inventory.models import (
    Balance,
    Counter,
    Lot,
    Month,
    MonthBalance,
    Movement,
    Place,
    PlaceKind,
    Posting,
    Reservation,
)
from inventory.models.places import ReservationState
from inventory.months.queries import chain, recovered
from inventory.months.sums.calendar_month import month_of
from inventory.months.sums.kept_report import unlike

SHOWN_MAX = 5
IN_HOUSE = frozenset({PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH})
WHOLE_PPM = 1_000_000


@dataclass(frozen=True, slots=True)
class Checked:
    """The outcome of one check. `wrong` says in words what is wrong; it is empty if all is well."""

    name: str
    looked_at: int
    wrong: tuple[str, ...]

    @property
    def ok(self) -> bool:
        return not self.wrong

    def __str__(self) -> str:
        if self.ok:
            return f"ok {self.name}: {self.looked_at} looked at"
        more = len(self.wrong) - SHOWN_MAX
        shown = "; ".join(self.wrong[:SHOWN_MAX]) + (f"; and {more} more" if more > 0 else "")
        return f"FAIL {self.name}: {shown}"


# The whole ledger in memory, read in three queries: each check then goes over plain lists, and all
# of them look at the same books.
class Books:
    """The ledger read once: places, movements in order, and each movement's postings."""

    @cached_property
    def places(self) -> dict[int, Place]:
        return Place.objects.in_bulk()

    @cached_property
    def movements(self) -> list[Movement]:
        return list(Movement.objects.order_by("number"))

    @cached_property
    def by_id(self) -> dict[int, Movement]:
        return {movement.pk: movement for movement in self.movements}

    @cached_property
    def lines(self) -> dict[int, list[Posting]]:
        """Movement id -> its postings by line; the movements are in order of number."""
        # Every movement gets an entry first: one without any posting is what a check looks for.
        found: dict[int, list[Posting]] = {movement.pk: [] for movement in self.movements}
        for posting in Posting.objects.order_by("movement__number", "line"):
            found[posting.movement_id].append(posting)
        return found

    def postings(self) -> Iterator[tuple[Movement, Posting, Place, Place]]:
        """Yield every posting with its movement, source and target, in the order of the ledger."""
        for movement in self.movements:
            for posting in self.lines[movement.pk]:
                yield (
                    movement,
                    posting,
                    self.places[posting.source_id],
                    self.places[posting.target_id],
                )


def check(books: Books | None = None) -> list[Checked]:
    """Run every check, in a fixed order."""
    read = books or Books()
    return [_run(name, rule, read) for name, rule in CHECKS.items()]


Rule = Callable[[Books], tuple[int, Iterable[str]]]


def _run(name: str, rule: Rule, books: Books) -> Checked:
    looked_at, wrong = rule(books)
    return Checked(name, looked_at, tuple(wrong))


def _numbers(books: Books) -> tuple[int, list[str]]:
    """Movements are numbered 1 to n without a gap, and the counter stands at n."""
    wrong = [
        f"#{movement.number} stands where #{expected} should"
        for expected, movement in enumerate(books.movements, start=1)
        if movement.number != expected
    ]
    counter = Counter.objects.filter(name="movement").first()
    if (counter.last if counter else 0) != len(books.movements):
        wrong.append(f"the counter does not stand at {len(books.movements)}")
    return len(books.movements), wrong


def _lines(books: Books) -> tuple[int, list[str]]:
    """Every movement has postings, numbered from 1 without a gap."""
    wrong = [
        f"#{books.by_id[pk].number} has lines {[line.line for line in lines]}"
        for pk, lines in books.lines.items()
        if not lines or [line.line for line in lines] != list(range(1, len(lines) + 1))
    ]
    return len(books.lines), wrong


def _units(books: Books) -> tuple[int, list[str]]:
    """No posting goes from milligrams to pieces."""
    listed = list(books.postings())
    wrong = [
        f"#{movement.number} line {posting.line}: {source.unit} to {target.unit}"
        for movement, posting, source, target in listed
        if source.unit != target.unit
    ]
    return len(listed), wrong


def _recipes(books: Books) -> tuple[int, list[str]]:
    """Every posting is in its kind's recipe; a reversal's, turned round."""
    wrong = []
    for movement, posting, source, target in books.postings():
        # A reversal keeps its kind, so its legs are judged as those of what it reverses.
        start, end = (target, source) if movement.reverses_id else (source, target)
        known = movement.kind in recipes.KINDS
        if not known or not recipes.allows(movement.kind, start.kind, end.kind, start.unit):
            wrong.append(
                f"#{movement.number} line {posting.line}: {movement.kind} "
                f"{source.code} to {target.code}"
            )
    return len(books.lines), wrong


def _reversals(books: Books) -> tuple[int, list[str]]:
    """A reversal is the mirror of an earlier movement that is no reversal itself."""
    pairs = [
        (movement, books.by_id[movement.reverses_id])
        for movement in books.movements
        if movement.reverses_id is not None
    ]
    wrong = [
        f"#{undo.number} is no mirror of #{done.number}"
        for undo, done in pairs
        if not _mirrors(books, undo, done)
    ]
    return len(pairs), wrong


def _mirrors(books: Books, undo: Movement, done: Movement) -> bool:
    same = undo.kind == done.kind and undo.subject == done.subject and bool(undo.reason)
    later = undo.number > done.number and done.reverses_id is None
    forth = [(p.source_id, p.target_id, p.quantity) for p in books.lines[done.pk]]
    back = [(p.target_id, p.source_id, p.quantity) for p in books.lines[undo.pk]]
    return same and later and forth == back and undo.cost_minor == -done.cost_minor


def _never_negative(books: Books) -> tuple[int, list[str]]:
    """No place but the boundary is below zero after any movement, in the ledger's order."""
    held: dict[int, int] = {}
    wrong = []
    for movement in books.movements:
        touched = _move(held, books.lines[movement.pk])
        wrong += [
            f"{books.places[pk].code} at {held[pk]} after #{movement.number}"
            # Judged after the whole movement, as the ledger itself does: in between a place may
            # dip.
            for pk in sorted(touched)
            if held[pk] < 0 and not books.places[pk].is_boundary
        ]
    return len(books.movements), wrong


def _move(held: dict[int, int], postings: Iterable[Posting]) -> set[int]:
    touched = set()
    for posting in postings:
        for place, sign in ((posting.source_id, -1), (posting.target_id, 1)):
            held[place] = held.get(place, 0) + sign * posting.quantity
            touched.add(place)
    return touched


def _caches(books: Books) -> tuple[int, list[str]]:
    """Every cached balance equals the sum of its place's postings."""
    held: dict[int, int] = {}
    for lines in books.lines.values():
        _move(held, lines)
    cached = dict(Balance.objects.values_list("pk", "quantity"))
    wrong = [
        f"{books.places[pk].code}: postings give {held.get(pk, 0)}, the cache {cached.get(pk, 0)}"
        # Both sides: a cached row without postings is as wrong as postings without a row.
        for pk in sorted({*held, *cached})
        if held.get(pk, 0) != cached.get(pk, 0)
    ]
    return len(cached), wrong


def _labels(books: Books) -> tuple[int, list[str]]:
    """A movement is booked in the month it happened in, or later with a note of that month."""
    zone = timezone.get_default_timezone()
    closed = dict(Month.objects.values_list("label", "last_number"))
    wrong = []
    for movement in books.movements:
        own = str(month_of(movement.happened_at, zone))
        in_time = movement.month == own and movement.belongs_to == ""
        late = movement.belongs_to == own and movement.month > own
        # By number and not by the clock: the number says which of the close and the movement came
        # first.
        was_closed = any(
            label >= own and number < movement.number for label, number in closed.items()
        )
        if not (in_time or (late and was_closed)):
            wrong.append(
                f"#{movement.number} happened in {own}, is booked in {movement.month} "
                f"and says “{movement.belongs_to}”"
            )
    return len(books.movements), wrong


def _closed_months(books: Books) -> tuple[int, list[str]]:
    """Snapshots and chained digests of closed months are derived again from the postings."""
    held: dict[int, int] = {}
    previous = ""
    wrong: list[str] = []
    rows = list(Month.objects.order_by("label"))
    done: set[int] = set()
    for month in rows:
        # `<=` and not `==`: a movement that was forced into an earlier month must be counted
        # somewhere, or the snapshot would not show it.
        ours = [m for m in books.movements if m.month <= month.label and m.pk not in done]
        done.update(movement.pk for movement in ours)
        for movement in ours:
            _move(held, books.lines[movement.pk])
        wrong += _closed_month(month, previous, held, ours)
        previous = month.digest
    return len(rows), wrong


def _closed_month(
    month: Month, previous: str, held: dict[int, int], ours: list[Movement]
) -> Iterator[str]:
    holding = {pk: quantity for pk, quantity in held.items() if quantity}
    snapshot = dict(MonthBalance.objects.filter(month=month).values_list("place", "quantity"))
    if snapshot != holding:
        yield f"{month.label}: the snapshot differs from the postings"
    # The triggers refuse this; somebody who took them down is found out here.
    if any(movement.number > month.last_number for movement in ours):
        yield f"{month.label}: a movement came in after the close"
    if month.previous_digest != previous:
        yield f"{month.label}: the chain to the month before is broken"
    if chain.digest(month.label, previous, holding, month.figures) != month.digest:
        yield f"{month.label}: the digest differs"


def _reports(books: Books) -> tuple[int, list[str]]:
    """The report of every closed month still comes out as it did when it was closed."""
    del books
    rows = list(Month.objects.all())
    wrong = []
    for month in rows:
        # Built anew from the postings: it shows a change of the program's own sums as well as of
        # the rows.
        report = recovered.of_month(month.label)
        wrong += [f"{month.label}: {why}" for why in _unlike_its_close(month, report)]
        wrong += [f"{month.label}: {row} does not tie out" for row in report.gaps]
    return len(rows), wrong


def _unlike_its_close(month: Month, report: recovered.Report) -> list[str]:
    """What differs from the closed report, by its kept bytes where the close has kept them."""
    closed = month.figures["report"]
    kept = month.figures.get("report_text")
    if kept is None:
        differs = recovered.digest(report) != closed
        return ["the report differs from the one that was closed"] if differs else []
    if hashlib.sha256(kept.encode()).hexdigest() != closed:
        return ["the kept report is not the one that was closed"]
    return [f"{where} differs" for where in unlike(kept, recovered.canonical(report))]


def _frames(books: Books) -> tuple[int, list[str]]:
    """No frame ever has less than nothing on a shelf or the bench."""
    tags = {m.subject for m in books.movements if m.kind == "weigh_in" and m.subject}
    held: dict[tuple[str, int], int] = {}
    wrong = []
    for movement in books.movements:
        if movement.subject not in tags:
            continue
        mine: dict[int, int] = {}
        _move(mine, books.lines[movement.pk])
        for pk, change in mine.items():
            if books.places[pk].kind not in IN_HOUSE:
                continue
            spot = (movement.subject, pk)
            held[spot] = held.get(spot, 0) + change
            if held[spot] < 0:
                code = books.places[pk].code
                wrong.append(f"{movement.subject} at {held[spot]} mg on {code}, #{movement.number}")
    return len(tags), wrong


def _heat(books: Books) -> tuple[int, list[str]]:
    """The spread of heat passes of every lot, and of what entered a box, is a whole."""
    spreads = [(lot.code, lot.heat) for lot in Lot.objects.order_by("code")]
    spreads += [(f"#{m.number}", m.heat) for m in books.movements if m.heat is not None]
    spreads += [
        (f"#{movement.number}", posting.heat)
        for movement, posting, _source, _target in books.postings()
        if posting.heat is not None
    ]
    wrong = [
        f"{name}: {sum(ppm for _passes, ppm in heat)} ppm"
        for name, heat in spreads
        if sum(ppm for _passes, ppm in heat) != WHOLE_PPM
    ]
    return len(spreads), wrong


def _promises(books: Books) -> tuple[int, list[str]]:
    """No bin has more pieces promised than it holds."""
    held: dict[int, int] = {}
    for lines in books.lines.values():
        _move(held, lines)
    bins = {p.part_id: p for p in books.places.values() if p.kind == PlaceKind.BIN}
    rows = Reservation.objects.filter(state=ReservationState.OPEN).order_by().values("part__code")
    promised = list(rows.values_list("part", "part__code").annotate(pieces=Sum("pieces")))
    wrong = []
    for part, code, pieces in promised:
        there = held.get(bins[part].pk, 0) if part in bins else 0
        if pieces > there:
            wrong.append(f"{code}: {pieces} promised, {there} in the bin")
    return len(promised), wrong


def _triggers(books: Books) -> tuple[int, list[str]]:
    """The database's own guards are in place, each with its body and on its table."""
    del books
    return len(triggers.names(connection)), triggers.faults(connection)


CHECKS: dict[str, Rule] = {
    "numbers-gapless": _numbers,
    "lines-gapless": _lines,
    "units-match": _units,
    "recipes-kept": _recipes,
    "reversals-mirror": _reversals,
    "never-below-zero": _never_negative,
    "balances-derived": _caches,
    "months-labelled": _labels,
    "closed-months-unchanged": _closed_months,
    "closed-reports-unchanged": _reports,
    "frames-not-negative": _frames,
    "heat-spreads-whole": _heat,
    "promises-covered": _promises,
    "guards-in-place": _triggers,
}
"""Every check by name. The docs and a test read this table."""
