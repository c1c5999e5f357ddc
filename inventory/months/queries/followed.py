"""Some months' postings, each month followed once to the readings behind them. Reads only."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import cached_property
from itertools import chain

from django.db.models import F, Min, QuerySet

from inventory.models import Month, Movement, Place, PlaceKind, Posting
from inventory.months.queries import entries
from inventory.months.queries.entries import Entry
from inventory.weighing.queries import traced
from inventory.weighing.queries.traced import Behind
from inventory.weighing.sums.traced import Account, Source, Traced, Walk

STATED_FROM = 2
"""The edition of the report from which on every mass says how well it is known."""

EXACT_FROM = 3
"""The edition from which on a month is followed from the first month whose postings it undoes,
and from which on what is empty is known without doubt."""


class Followed:
    """Months asked for together, to be handed to whatever needs to know their masses.

    What they rest on is read at once, in as many queries as for one month. A month is walked
    through when its first mass is asked for, and never again. One that takes back what an earlier
    month booked is followed from that month on, so that the very readings go that came.
    """

    def __init__(self, labels: Iterable[str]) -> None:
        self._labels = sorted(set(labels))
        self._walks: dict[str, Walk] = {}
        self._openings: dict[str, Mapping[Account, Traced]] = {}
        self._cells: dict[str, Mapping[str, Mapping[str, Traced]]] = {}

    def found(self, label: str) -> tuple[Entry, ...]:
        """The postings of a month, in order."""
        return self._found.get(label, ())

    def is_stated(self, label: str) -> bool:
        """False for a month that was closed before every mass had its uncertainty."""
        return self._editions.get(label, STATED_FROM) >= STATED_FROM

    def opened(self, label: str) -> Mapping[Account, Traced]:
        """What every place carries into a month, from the last snapshot before it."""
        self.walk(label)
        return self._openings[label]

    def walk(self, label: str) -> Walk:
        """A month's postings followed, from what its places carried into it."""
        if label not in self._walks:
            start = self._starts[label]
            walk = self._begun(label, self._carried_into(start))
            for month in self._booked:
                if start <= month < label:
                    self._behind.follow(walk, self.found(month))
            self._openings[label] = {account: held.copy() for account, held in walk.held.items()}
            self._behind.follow(walk, self.found(label))
            self._walks[label] = walk
        return self._walks[label]

    def _begun(self, label: str, carried: Mapping[Account, Source]) -> Walk:
        """Up to the second edition an emptied box or lot kept what its weighings differ by."""
        places = self.places.values()
        if self._is_exact(label):
            return traced.begun(carried, places)
        return traced.begun(carried, places, traced.APART)

    def _is_exact(self, label: str) -> bool:
        return self._editions.get(label, EXACT_FROM) >= EXACT_FROM

    def by_cell(self, label: str) -> Mapping[str, Mapping[str, Traced]]:
        """Code of a place -> column -> mass, with "opening" and "closing" among the columns."""
        if label not in self._cells:
            self._cells[label] = self._laid_out(label)
        return self._cells[label]

    def _laid_out(self, label: str) -> dict[str, dict[str, Traced]]:
        cells: dict[str, dict[str, Traced]] = {}
        for place, held in traced.by_place(self.opened(label)).items():
            cells.setdefault(place, {})["opening"] = held
        walk = self.walk(label)
        for place, held in traced.by_place(walk.held).items():
            cells.setdefault(place, {})["closing"] = held
        for entry in self.found(label):
            moved = walk.moved.get((entry.number, entry.line))
            for end, sign in ((entry.source, -1), (entry.target, 1)):
                column = entry.column(end)
                if column and moved is not None:
                    cells.setdefault(end.code, {}).setdefault(column, Traced()).add(moved, sign)
        return cells

    def moved(self, label: str) -> Mapping[tuple[int, int], Traced]:
        """Movement and line -> mass; of a month that states no uncertainty nothing."""
        if not self.is_stated(label):
            return {}
        own = {(entry.number, entry.line) for entry in self.found(label)}
        return {line: mass for line, mass in self.walk(label).moved.items() if line in own}

    def on_hold(self, label: str) -> list[str]:
        """Subjects with mass on the hold shelf at a month's end, without reading the history."""
        shelves = {one.code for one in self.places.values() if one.kind == PlaceKind.HOLD}
        return sorted(
            subject
            for (place, subject), mass_mg in self.walk(label).mass_mg.items()
            if place in shelves and subject and mass_mg > 0
        )

    @cached_property
    def places(self) -> dict[int, Place]:
        """Every place by its id."""
        return entries.all_places()

    @cached_property
    def _editions(self) -> Mapping[str, int]:
        """The edition of every closed month; the first had no name for itself."""
        rows = Month.objects.values_list("label", "figures__edition")
        return {label: edition or 1 for label, edition in rows}

    @cached_property
    def _booked(self) -> list[str]:
        rows = Movement.objects.order_by("month").values_list("month", flat=True)
        return list(rows.filter(month__lte=self._labels[-1]).distinct()) if self._labels else []

    @cached_property
    def _starts(self) -> Mapping[str, str]:
        """Month -> the one to follow from: itself, or the first whose postings it takes back."""
        back = Movement.objects.exclude(reverses=None).exclude(reverses__month=F("month"))
        firsts = dict(back.values_list("month").annotate(Min("reverses__month")).order_by())
        starts: dict[str, str] = {}
        for month in sorted({*self._booked, *self._labels}):
            first = firsts.get(month, month) if self._is_exact(month) else month
            starts[month] = min([first, *(starts[other] for other in starts if other >= first)])
        return starts

    def _snapshot(self, label: str) -> str:
        """The newest month before that was closed with a snapshot; "" for none."""
        stated = [month for month in self._editions if month < label and self.is_stated(month)]
        return max(stated, default="")

    def _leads_to(self, label: str) -> str:
        """The last month with postings after that snapshot; "" where it tells all by itself."""
        since = self._snapshot(label)
        return max((month for month in self._booked if since < month < label), default="")

    def _carried_into(self, label: str) -> Mapping[Account, Source]:
        before = self._leads_to(label)
        return self.walk(before).carried() if before else self._kept[self._snapshot(label)]

    def _needed(self, label: str) -> set[str]:
        start = self._starts[label]
        before = self._leads_to(start)
        own = {label, *(month for month in self._booked if start <= month < label)}
        return own | self._needed(before) if before else own

    @cached_property
    def _months(self) -> set[str]:
        """Every month whose postings must be read."""
        stated = [label for label in self._labels if self.is_stated(label)]
        return set(self._labels).union(*(self._needed(label) for label in stated))

    @cached_property
    def _kept(self) -> Mapping[str, Mapping[Account, Source]]:
        wanted = {self._snapshot(self._starts[month]) for month in self._months} - {""}
        rows = Month.objects.filter(label__in=wanted).values_list("label", "figures__traced")
        return {"": {}} | {label: traced.thawed(kept) for label, kept in rows}

    @cached_property
    def _rows(self) -> QuerySet[Posting]:
        return Posting.objects.filter(movement__month__in=self._months)

    @cached_property
    def _found(self) -> Mapping[str, tuple[Entry, ...]]:
        found: dict[str, list[Entry]] = {}
        for entry in entries.read(self._rows, self.places):
            found.setdefault(entry.month, []).append(entry)
        return {month: tuple(listed) for month, listed in found.items()}

    @cached_property
    def _behind(self) -> Behind:
        return traced.behind(self._rows, chain.from_iterable(self._found.values()))


def moved(labels: Iterable[str]) -> dict[tuple[int, int], Traced]:
    """Movement and line -> mass, of some months; without those that state no uncertainty."""
    wanted = set(labels)
    followed = Followed(wanted)
    return {key: mass for label in wanted for key, mass in followed.moved(label).items()}
