"""Checks the whole ledger against itself: every cached or closed figure is derived again.

The chain is read once, link by link, and each check looks at every link as it passes: none keeps
the history in memory. A check trusts no cache and no code path that wrote the rows, and names the
row that is wrong. Nothing is mended here.
"""

from __future__ import annotations

import hashlib
from collections import Counter as Counts
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cached_property

from django.conf import settings
from django.db import connection
from django.db.models import Sum
from django.utils import timezone
from django.utils.module_loading import import_string

from inventory import triggers
from inventory.chain import queries as links
from inventory.chain import sums as chain_sums
from inventory.chain.queries import EventLink, Line, MovementLink
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


class Books:
    """What every check may ask for: the places, and the months that are closed."""

    @cached_property
    def places(self) -> dict[int, Place]:
        return Place.objects.in_bulk()

    @cached_property
    def closed(self) -> list[Month]:
        return list(Month.objects.order_by("label"))


class Check:
    """One check: it sees every link once, in the chain's order, and then says what it found."""

    def __init__(self, books: Books) -> None:
        self.books = books
        self.looked_at = 0
        self.wrong: list[str] = []

    def movement(self, link: MovementLink) -> None:
        """Look at a movement with its postings."""

    def event(self, link: EventLink) -> None:
        """Look at an event."""

    def end(self) -> None:
        """Look at whatever can be judged only now."""


def check(names: Collection[str] = ()) -> list[Checked]:
    """Run every check, or those named, in a fixed order, over one reading of the chain."""
    books = Books()
    checks = {name: kind(books) for name, kind in CHECKS.items() if not names or name in names}
    seers = [one for one in checks.values() if type(one).movement is not Check.movement]
    hearers = [one for one in checks.values() if type(one).event is not Check.event]
    walked = _Walk()
    for link in walked:
        for one in seers if isinstance(link, MovementLink) else hearers:
            with _reading(one, link.words):
                one.movement(link) if isinstance(link, MovementLink) else one.event(link)
    for one in checks.values():
        with _reading(one, "what the chain tells"):
            one.end()
        one.wrong += walked.wrong if isinstance(one, Chained) else []
    return [Checked(name, one.looked_at, tuple(one.wrong)) for name, one in checks.items()]


@contextmanager
def _reading(one: Check, name: str) -> Iterator[None]:
    """A row that somebody has spoilt must not keep the others from being looked at."""
    try:
        yield
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError) as error:
        one.wrong.append(f"{name} cannot be read ({error!r:.60})")


class _Walk:
    """The links as far as the database can give them: a key may be no key any more."""

    def __init__(self) -> None:
        self.wrong: list[str] = []

    def __iter__(self) -> Iterator[links.Link]:
        last = "the beginning"
        try:
            for link in links.links():
                last = link.words
                yield link
        except ValueError as error:
            self.wrong.append(f"a row after {last} cannot be read ({error!r:.60})")


class Chained(Check):
    """Every link has its place and the digest of its content, and the chain ends at its head."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.position = 0
        self.previous = ""
        kept = [(month.label, month.figures.get("chain")) for month in books.closed]
        self.anchors = {anchor[0]: (label, anchor[1]) for label, anchor in kept if anchor}

    def movement(self, link: MovementLink) -> None:
        self._link(link)

    def event(self, link: EventLink) -> None:
        self._link(link)

    def _link(self, link: MovementLink | EventLink) -> None:
        self.looked_at += 1
        self.position += 1
        if link.position != self.position:
            gap = link.position - self.position
            self.wrong.append(f"before {link.words} there are {gap} links missing")
            self.position = link.position
        # On with what is written there: what follows is judged by itself, and the row is named.
        digest = chain_sums.digest(link.kind, link.position, self.previous, link.content)
        if digest != link.digest:
            self.wrong.append(f"{link.words} is not what was written, or follows on another")
        self.previous = link.digest
        label, anchor = self.anchors.pop(link.position, ("", link.digest))
        if anchor != link.digest:
            self.wrong.append(f"{link.words} is not the link that the close of {label} froze")

    def end(self) -> None:
        for position, (label, _digest) in self.anchors.items():
            # 0: the first close of empty books.
            if position:
                self.wrong.append(f"link {position}, which the close of {label} froze, is gone")
        head = links.head()
        if (head.position, head.digest) != (self.position, self.previous):
            self.wrong.append(
                f"the chain ends at link {self.position}, its head says {head.position}: "
                "links at its end are missing or came in past the rules"
            )


class Numbers(Check):
    """Movements are numbered 1 to n without a gap in the chain's order; the counter stands at n."""

    def movement(self, link: MovementLink) -> None:
        self.looked_at += 1
        if link.fields["number"] != self.looked_at:
            self.wrong.append(f"{link.words} stands where #{self.looked_at} should")

    def end(self) -> None:
        counter = Counter.objects.filter(name="movement").first()
        if (counter.last if counter else 0) != self.looked_at:
            self.wrong.append(f"the counter does not stand at {self.looked_at}")


class Lines(Check):
    """Every movement has postings, numbered from 1 without a gap, and no posting is without one."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.lines = 0

    def movement(self, link: MovementLink) -> None:
        self.looked_at += 1
        self.lines += len(link.lines)
        numbers = [line.line for line in link.lines]
        if not numbers or numbers != list(range(1, len(numbers) + 1)):
            self.wrong.append(f"{link.words} has lines {numbers}")

    def end(self) -> None:
        if Posting.objects.count() != self.lines:
            self.wrong.append("there are postings without a movement")


class Units(Check):
    """No posting goes from milligrams to pieces."""

    def movement(self, link: MovementLink) -> None:
        for line in link.lines:
            self.looked_at += 1
            source, target = (self.books.places[pk] for pk in (line.source_id, line.target_id))
            if source.unit != target.unit:
                name = f"{link.words} line {line.line}"
                self.wrong.append(f"{name}: {source.unit} to {target.unit}")


class Recipes(Check):
    """Every posting is in its kind's recipe; a reversal's, turned round."""

    def movement(self, link: MovementLink) -> None:
        self.looked_at += 1
        kind = link.fields["kind"]
        for line in link.lines:
            source, target = (self.books.places[pk] for pk in (line.source_id, line.target_id))
            # A reversal keeps its kind, so its legs are judged as those of what it reverses.
            start, end = (target, source) if link.reverses_id else (source, target)
            known = kind in recipes.KINDS
            if not known or not recipes.allows(kind, start.kind, end.kind, start.unit):
                self.wrong.append(
                    f"{link.words} line {line.line}: {kind} {source.code} to {target.code}"
                )


class Weighed(Check):
    """Where the whole was weighed, one of the postings of a reading moves exactly its mass."""

    def movement(self, link: MovementLink) -> None:
        if link.fields["kind"] not in WEIGHED_WHOLE:
            return
        moved: dict[int, set[int]] = {}
        for line in link.lines:
            if line.reading is not None:
                moved.setdefault(line.reading[_MASS], set()).add(line.quantity)
        self.looked_at += len(moved)
        for mass_mg, quantities in moved.items():
            if mass_mg not in quantities:
                self.wrong.append(
                    f"{link.words} moves {max(quantities)}, the scale read {mass_mg} mg"
                )


_MASS = chain_sums.READING_FIELDS.index("mass_mg")
WEIGHED_WHOLE = frozenset(
    {"weigh_in", "strip_down", "grind", "issue", "receive_feedstock", "return_scrap"}
)
"""Kinds in which what was read is what was booked: counts and posted frames differ."""


class Reversals(Check):
    """A reversal is the mirror of an earlier movement that is no reversal itself."""

    def movement(self, link: MovementLink) -> None:
        if link.reverses_id is None:
            return
        self.looked_at += 1
        # Reversals are few: what they put right is looked up, and not kept for the case.
        done = Movement.objects.filter(pk=link.reverses_id).first()
        if done is None or not _mirrors(link, done):
            number = done.number if done else "nothing"
            self.wrong.append(f"{link.words} is no mirror of #{number}")


def _mirrors(undo: MovementLink, done: Movement) -> bool:
    data = undo.fields
    same = data["kind"] == done.kind and data["subject"] == done.subject and bool(data["reason"])
    later = data["number"] > done.number and done.reverses_id is None
    rows = done.postings.order_by("line").values_list("source_id", "target_id", "quantity")
    back = [(line.target_id, line.source_id, line.quantity) for line in undo.lines]
    return same and later and list(rows) == back and data["cost_minor"] == -done.cost_minor


class Balances(Check):
    """Every cached balance equals its postings, and none but the boundary was ever below zero."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.held: dict[int, int] = {}

    def movement(self, link: MovementLink) -> None:
        _move(self.held, link.lines)

    def end(self) -> None:
        cached = dict(Balance.objects.values_list("pk", "quantity"))
        self.looked_at = len(cached)
        self.wrong += [
            f"{self.books.places[pk].code}: postings give {self.held.get(pk, 0)}, "
            f"the cache {cached.get(pk, 0)}"
            # Both sides: a cached row without postings is as wrong as postings without a row.
            for pk in sorted({*self.held, *cached})
            if self.held.get(pk, 0) != cached.get(pk, 0)
        ]


class NeverNegative(Check):
    """No place but the boundary is below zero after any movement, in the ledger's order."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.held: dict[int, int] = {}

    def movement(self, link: MovementLink) -> None:
        self.looked_at += 1
        # Judged after the whole movement, as the ledger itself does: in between a place may dip.
        for pk in sorted(_move(self.held, link.lines)):
            place = self.books.places[pk]
            if self.held[pk] < 0 and not place.is_boundary:
                self.wrong.append(f"{place.code} at {self.held[pk]} after {link.words}")


def _move(held: dict[int, int], lines: Iterable[Line]) -> set[int]:
    touched = set()
    for line in lines:
        for place, sign in ((line.source_id, -1), (line.target_id, 1)):
            held[place] = held.get(place, 0) + sign * line.quantity
            touched.add(place)
    return touched


class Labels(Check):
    """A movement is booked in the month it happened in, or later with a note of that month."""

    def movement(self, link: MovementLink) -> None:
        self.looked_at += 1
        data = link.fields
        own = str(month_of(data["happened_at"], timezone.get_default_timezone()))
        in_time = data["month"] == own and data["belongs_to"] == ""
        late = data["belongs_to"] == own and data["month"] > own
        # By number and not by the clock: the number says which of the close and the movement came
        # first.
        was_closed = late and any(
            month.label >= own and month.last_number < data["number"] for month in self.books.closed
        )
        if not (in_time or (late and was_closed)):
            self.wrong.append(
                f"{link.words} happened in {own}, is booked in {data['month']} "
                f"and says “{data['belongs_to']}”"
            )


class ClosedMonths(Check):
    """Snapshots and chained digests of closed months are derived again from the postings."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.change: dict[str, dict[int, int]] = {}
        self.newest: dict[str, int] = {}

    def movement(self, link: MovementLink) -> None:
        label, number = link.fields["month"], link.fields["number"]
        _move(self.change.setdefault(label, {}), link.lines)
        self.newest[label] = max(self.newest.get(label, 0), number)

    def end(self) -> None:
        held: dict[int, int] = {}
        previous = before = ""
        for month in self.books.closed:
            # Between the closes and not of the label alone: a movement that was forced into an
            # earlier month must be counted somewhere, or the snapshot would not show it.
            ours = [label for label in self.change if before < label <= month.label]
            for label in ours:
                for place, change in self.change[label].items():
                    held[place] = held.get(place, 0) + change
            newest = max((self.newest[label] for label in ours), default=0)
            self.wrong += self._month(month, previous, held, newest)
            previous, before = month.digest, month.label
        self.looked_at = len(self.books.closed)

    def _month(
        self, month: Month, previous: str, held: dict[int, int], newest: int
    ) -> Iterator[str]:
        holding = {pk: quantity for pk, quantity in held.items() if quantity}
        snapshot = dict(MonthBalance.objects.filter(month=month).values_list("place", "quantity"))
        if snapshot != holding:
            yield f"{month.label}: the snapshot differs from the postings"
        # The triggers refuse this; somebody who took them down is found out here.
        if newest > month.last_number:
            yield f"{month.label}: a movement came in after the close"
        if month.previous_digest != previous:
            yield f"{month.label}: the chain to the month before is broken"
        if chain.digest(month.label, previous, holding, month.figures) != month.digest:
            yield f"{month.label}: the digest differs"


class Closings(Check):
    """Each closed month is as its event says, and each event of a close has its month."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.told: dict[str, EventLink] = {}
        self.is_whole = True

    def event(self, link: EventLink) -> None:
        # Books that are older than their chain may have months without an event that tells all.
        self.is_whole &= link.fields["name"] != "chain.begun"
        if link.fields["name"] == "months.close":
            self.told[link.fields["subject"]] = link

    def end(self) -> None:
        self.looked_at = len(self.books.closed)
        closed = {month.label: month for month in self.books.closed}
        self.wrong += [
            f"{label}: its event stands, its row is gone"
            for label in self.told
            if label not in closed
        ]
        for label, month in closed.items():
            if label not in self.told:
                if self.is_whole:
                    self.wrong.append(f"{label}: no event tells of its close")
                continue
            data = self.told[label].fields
            row = (month.closed_at, month.closed_by_id, month.digest, month.last_number)
            detail = data["detail"]
            told = (data["at"], data["actor_id"], detail.get("digest"), detail.get("last_number"))
            if row != told:
                self.wrong.append(f"{label}: its row is not as {self.told[label].words} tells")


class Reports(Check):
    """The report of every closed month still comes out as it did when it was closed."""

    def end(self) -> None:
        self.looked_at = len(self.books.closed)
        for month in self.books.closed:
            # Built anew from the postings: it shows a change of the program's own sums as well as
            # of the rows.
            try:
                report = recovered.of_month(month.label)
            except (ArithmeticError, LookupError, TypeError, ValueError) as error:
                self.wrong.append(f"{month.label}: no report comes of its rows ({error!r:.60})")
                continue
            self.wrong += [f"{month.label}: {why}" for why in _unlike_its_close(month, report)]
            self.wrong += [f"{month.label}: {row} does not tie out" for row in report.gaps]


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


class Frames(Check):
    """No frame ever has less than nothing on a shelf or the bench."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        # Those that are in the house: a frame that left takes no room here.
        self.held: dict[tuple[str, int], int] = {}
        tags = Movement.objects.filter(kind="weigh_in").exclude(subject="")
        self.tags = frozenset(tags.values_list("subject", flat=True))
        self.looked_at = len(self.tags)

    def movement(self, link: MovementLink) -> None:
        tag = link.fields["subject"]
        if tag not in self.tags:
            return
        mine: dict[int, int] = {}
        _move(mine, link.lines)
        for pk, change in mine.items():
            if self.books.places[pk].kind not in IN_HOUSE:
                continue
            held = self.held.pop((tag, pk), 0) + change
            if held:
                self.held[tag, pk] = held
            if held < 0:
                self.wrong.append(
                    f"{tag} at {held} mg on {self.books.places[pk].code}, {link.words}"
                )


class Heat(Check):
    """The spread of heat passes of every lot, and of what entered a box, is a whole."""

    def movement(self, link: MovementLink) -> None:
        if link.fields["heat"] is not None:
            self._whole(link.words, link.fields["heat"])
        for line in link.lines:
            if line.heat is not None:
                self._whole(f"{link.words} line {line.line}", line.heat)

    def end(self) -> None:
        for code, heat in Lot.objects.order_by("code").values_list("code", "heat").iterator():
            self._whole(code, heat)

    def _whole(self, name: str, heat: Sequence[Sequence[int]]) -> None:
        self.looked_at += 1
        whole = sum(ppm for _passes, ppm in heat)
        if whole != WHOLE_PPM:
            self.wrong.append(f"{name}: {whole} ppm")


class Promises(Check):
    """No bin has more pieces promised than it holds, but for those that a count did not find.

    Who counts fewer than are promised has told the truth: the books stand, and the bench is warned.
    """

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.held: dict[int, int] = {}
        self.missed: Counts[int] = Counts()

    def movement(self, link: MovementLink) -> None:
        _move(self.held, link.lines)
        if link.fields["kind"] == "count_parts":
            self.missed.update({line.source_id: line.quantity for line in link.lines})

    def end(self) -> None:
        bins = {p.part_id: p for p in self.books.places.values() if p.kind == PlaceKind.BIN}
        rows = Reservation.objects.filter(state=ReservationState.OPEN).order_by()
        promised = rows.values("part__code").values_list("part", "part__code")
        for part, code, pieces in promised.annotate(pieces=Sum("pieces")):
            self.looked_at += 1
            there = self.held.get(bins[part].pk, 0) if part in bins else 0
            missed = self.missed[bins[part].pk] if part in bins else 0
            if pieces > there + missed:
                self.wrong.append(f"{code}: {pieces} promised, {there} in the bin")


class Told(Check):
    """What an event says that it booked is there, and was booked before the event was written."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.number = 0

    def movement(self, link: MovementLink) -> None:
        self.number = max(self.number, link.fields["number"])

    def event(self, link: EventLink) -> None:
        detail = link.fields["detail"]
        numbers = [detail.get("movement"), detail.get("reversal"), *(detail.get("movements") or ())]
        for number in (one for one in numbers if isinstance(one, int)):
            self.looked_at += 1
            if number > self.number:
                self.wrong.append(f"{link.words} tells of #{number}, which was not there yet")


class Witnessed(Check):
    """Frames, wishes, runs, lots, batches, sales and prices are as their last event left them."""

    def __init__(self, books: Books) -> None:
        super().__init__(books)
        self.last: dict[str, tuple[bytes, int]] = {}

    def event(self, link: EventLink) -> None:
        for row, digest in link.fields["witness"].items():
            self.last[row] = (bytes.fromhex(digest), link.pk)

    def end(self) -> None:
        left = dict(self.last)
        for path in settings.WITNESSES:
            for row, facts in import_string(f"{path}.rows")():
                known = left.pop(row, None)
                # What no event has touched since the books have a chain: nobody bore witness yet.
                if known is None:
                    continue
                self.looked_at += 1
                if bytes.fromhex(chain_sums.of_row(facts)) != known[0]:
                    self.wrong.append(f"{row} is not as event {known[1]} left it")
        self.wrong += [f"{row} is gone; event {pk} knew it" for row, (_, pk) in left.items()]


class Guards(Check):
    """The database's own guards are in place, each with its body and on its table."""

    def end(self) -> None:
        self.looked_at = len(triggers.names(connection))
        self.wrong += triggers.faults(connection)


CHECKS: dict[str, type[Check]] = {
    "chain-unbroken": Chained,
    "numbers-gapless": Numbers,
    "lines-gapless": Lines,
    "units-match": Units,
    "recipes-kept": Recipes,
    "readings-as-posted": Weighed,
    "reversals-mirror": Reversals,
    "never-below-zero": NeverNegative,
    "balances-derived": Balances,
    "months-labelled": Labels,
    "closed-months-unchanged": ClosedMonths,
    "closings-as-told": Closings,
    "closed-reports-unchanged": Reports,
    "frames-not-negative": Frames,
    "heat-spreads-whole": Heat,
    "promises-covered": Promises,
    "events-as-booked": Told,
    "rows-as-told": Witnessed,
    "guards-in-place": Guards,
}
"""Every check by name. The docs and a test read this table."""
