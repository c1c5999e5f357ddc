"""Some months' postings, each month replayed once to the readings behind them. Reads only."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain

from django.db.models import F, Min

from inventory.models import Month, Movement, Place, PlaceKind, Posting
from inventory.months.queries import entries
from inventory.months.queries.entries import Entry
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import Account, MassWithReadings, Replay, Source


@dataclass(frozen=True, slots=True)
class MonthReplay:
    """A month's postings in order, and how each place's mass came about.

    `opened` is what every place carried into the month, `ended` the replay at its end, in whole
    milligrams of readings. Months that were replayed together have the very same readings, so a
    mass of one may be set against a mass of another.
    """

    label: str
    places: dict[int, Place]
    entries: tuple[Entry, ...]
    opened: Mapping[Account, MassWithReadings]
    ended: Replay

    @property
    def moved(self) -> Iterator[tuple[Entry, MassWithReadings]]:
        """Yield every posting of milligrams with its mass, in order."""
        for entry in self.entries:
            mass = self.ended.moved.get((entry.number, entry.line))
            if mass is not None:
                yield entry, mass

    @property
    def on_hold(self) -> list[str]:
        """Return subjects with mass on the hold shelf at the end, without reading the history."""
        shelves = {one.code for one in self.places.values() if one.kind == PlaceKind.HOLD}
        return sorted(
            subject
            for (place, subject), mass_mg in self.ended.mass_mg.items()
            if place in shelves and subject and mass_mg > 0
        )


def replayed(labels: Iterable[str]) -> dict[str, MonthReplay]:
    """Return months by label, in as many queries as for one.

    A month that takes back what an earlier one booked is replayed from that one on, so that the
    very readings go out that came in.
    """
    wanted = sorted(set(labels))
    if not wanted:
        return {}
    plan = _Plan.of(wanted)
    # One query for all months, however many are asked for.
    rows = Posting.objects.filter(movement__month__in=plan.read)
    places, found = entries.all_places(), dict[str, list[Entry]]()
    for entry in entries.read(rows, places):
        found.setdefault(entry.month, []).append(entry)
    sources = traced.sources(rows, chain.from_iterable(found.values()))
    kept, replays = _kept(plan), dict[str, MonthReplay]()
    # In order of time: what an open month carries on is there before the one after it asks.
    for label in plan.replayed:
        start = plan.starts[label]
        before = plan.leads_to(start)
        carried = replays[before].ended.carried() if before else kept[plan.snapshot(start)]
        run = traced.begun(carried, places.values())
        for month in plan.from_start(label):
            sources.follow(run, found.get(month, ()))
        # Copied, because the replay goes on changing what it holds.
        opened = {account: held.copy() for account, held in run.held.items()}
        own = tuple(found.get(label, ()))
        sources.follow(run, own)
        replays[label] = MonthReplay(label, places, own, opened, run)
    return {label: replays[label] for label in wanted}


def moved(labels: Iterable[str]) -> dict[tuple[int, int], MassWithReadings]:
    """Return (movement, line) -> mass for every posting of some months."""
    return {
        (entry.number, entry.line): mass
        for replay in replayed(labels).values()
        for entry, mass in replay.moved
    }


@dataclass(frozen=True, slots=True)
class _Plan:
    """Which months must be read and replayed for those that are asked for.

    `starts` has the month to follow each from: itself, or the first whose postings it takes back.
    """

    booked: Collection[str]
    closed: Collection[str]
    starts: Mapping[str, str]
    replayed: Collection[str]

    @classmethod
    def of(cls, wanted: list[str]) -> _Plan:
        closed = list(Month.objects.values_list("label", flat=True))
        months = Movement.objects.order_by("month").values_list("month", flat=True)
        booked = list(months.filter(month__lte=wanted[-1]).distinct())
        plan = cls(booked, closed, _starts({*booked, *wanted}), ())
        replayed = {month for label in wanted for month in plan._chain(label)}
        return cls(booked, closed, plan.starts, sorted(replayed))

    @property
    def read(self) -> set[str]:
        """Return every month whose postings must be read."""
        return {*self.replayed, *chain.from_iterable(map(self.from_start, self.replayed))}

    def from_start(self, label: str) -> list[str]:
        """Return the months to replay before a month itself."""
        return [month for month in self.booked if self.starts[label] <= month < label]

    def snapshot(self, label: str) -> str:
        """Return the newest closed month before a month; "" for none."""
        return max((month for month in self.closed if month < label), default="")

    def leads_to(self, label: str) -> str:
        """Return the last month with postings after that close; "" where the close is enough."""
        since = self.snapshot(label)
        return max((month for month in self.booked if since < month < label), default="")

    def _chain(self, label: str) -> Iterator[str]:
        while label:
            yield label
            label = self.leads_to(self.starts[label])


def _starts(months: Iterable[str]) -> dict[str, str]:
    back = Movement.objects.exclude(reverses=None).exclude(reverses__month=F("month"))
    firsts = dict(back.values_list("month").annotate(Min("reverses__month")).order_by())
    starts: dict[str, str] = {}
    for month in sorted(months):
        # Never later than itself: what is taken back may have been booked in a later month, when
        # the reversal says that it happened before.
        first = min(month, firsts.get(month, month))
        # Transitively: a month from which another must start may itself have to start earlier.
        starts[month] = min([first, *(starts[other] for other in starts if other >= first)])
    return starts


def _kept(plan: _Plan) -> dict[str, Mapping[Account, Source]]:
    """Return what the places carried out of each month whose close a replay starts from."""
    wanted = {plan.snapshot(plan.starts[month]) for month in plan.replayed} - {""}
    rows = Month.objects.filter(label__in=wanted).values_list("label", "figures__traced")
    return {"": {}} | {label: traced.thawed(kept) for label, kept in rows}
