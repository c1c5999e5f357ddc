"""Play a year of the demo workshop through the same rules that the pages call.

The twelve months before the current one are closed, the current one is open. Everything is drawn
from fixed seeds, so that two loads on one day tell the same story; only passwords and codes differ.
What a year of playing wrote is kept as a recording, which is told again in a few seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random
from uuid import UUID

from django.contrib.auth.models import User
from django.db import transaction

from deploy.demo import cast, masters, recording
from deploy.demo.bench import Bench
from deploy.demo.diary import Diary
from deploy.demo.lastday import LastHours
from deploy.demo.market import Calendar, Market, import_sales
from deploy.demo.material import Yard
from deploy.demo.pans import Pans
from deploy.demo.recording import Recorder, Recording
from deploy.demo.shift import Shift
from inventory import outbox
from inventory.journal import rules as journal
from inventory.models import Month as ClosedMonth
from inventory.models import Movement, Origin, Polymer, Scale
from inventory.months import rules as months
from inventory.months.sums.calendar_month import Month
from returns.figures.span.queries import zone
from returns.filing.rules import intake
from returns.models import Request, ReturnedFrame

SEED = 20
CLOSED_MONTHS = 12
# Parts that the supplier does not send, and the first and the last month without them.
LATE = {"arm-godwit": (5, 10), "arm-avocet": (7, 10)}
TARE_TWICE = 4
MISREAD_COUNT = 8
BOOKED_TWICE = 9
WASTE_EVERY = 4


@dataclass
class Played:
    """What a scenario came to."""

    requests: int
    frames: int
    movements: int
    closed: list[str]


@transaction.atomic
def play(*, now: datetime, logins_file: Path, closed_months: int = CLOSED_MONTHS) -> Played:
    """Furnish an empty database and tell the story up to `now`, in one transaction.

    A story of fewer `closed_months` is told by the same rules; it ends before it comes to all
    that the year has in it.
    """
    # Letters of a year that is past are not to be sent when the demo is loaded.
    with outbox.hushed():
        story = _Story(_month_of(now), closed_months)
        story.furnish()
        story.tell(now)
        story.end(now, logins_file)
    return _played()


@transaction.atomic
def play_again(*, told: Recording, now: datetime, logins_file: Path) -> Played:
    """Write into an empty database what was recorded, shifted so that it ends at `now`.

    Months are closed by the rule as the story comes to them, and the last hours are played.
    Raises recording.Unfit when the recording does not fit this version's tables.
    """
    shift = Shift(Month(*told.month), _month_of(now), zone())
    with outbox.hushed():
        recording.tell(told, shift, now, close=_close)
        for request in Request.objects.all():
            # The hash of a link was made with the key of whoever recorded; this house has its own.
            intake.renewed_secret(request)
        story = _Story(_month_of(now), CLOSED_MONTHS)
        story.end(now, logins_file)
    return _played()


@transaction.atomic
def record(month: Month) -> Recording:
    """Play a whole year in an empty database and return what was written, up to a month's end.

    Chance is seeded, codes and salts too, so that two recordings of one version are the same.
    """
    end = Calendar(month, zone()).moment(month.last_day, 23, 59)
    with outbox.hushed(), recording.seeded(SEED), Recorder.listening() as recorder:
        story = _Story(month, CLOSED_MONTHS)
        story.recorder = recorder
        story.furnish()
        story.tell(end)
    return recorder.recording((month.year, month.number))


def _played() -> Played:
    closed = ClosedMonth.objects.order_by("label").values_list("label", flat=True)
    return Played(
        Request.objects.count(),
        ReturnedFrame.objects.count(),
        Movement.objects.count(),
        list(closed),
    )


def _close(label: str, key: UUID, at: datetime) -> None:
    months.close(
        key=key,
        label=label,
        at=at,
        by=User.objects.get(username="acke"),
        acknowledged="Read with the bench: what the scales disagree on is in the differences.",
    )


def _month_of(now: datetime) -> Month:
    return Month.of_date(now.astimezone(zone()).date())


class _Story:
    recorder: Recorder | None = None

    def __init__(self, this_month: Month, closed_months: int) -> None:
        self.last = closed_months
        self.diary = Diary(Random(SEED))  # noqa: S311  a story needs repeatable chance
        self.this_month = this_month
        self.calendar = Calendar(_back(this_month, closed_months), zone())

    def furnish(self) -> None:
        """Write masters and people into the empty database."""
        masters.furnish(today=self.this_month.first_day)
        start = self.calendar.moment(self.calendar.month(0).first_day, 7)
        cast.hire(start)
        numbers = {account: (number, "") for account, number in masters.read()["accounts"].items()}
        acke = User.objects.get(username="acke")
        journal.number_accounts(key=self.diary.key(), numbers=numbers, at=start, by=acke)

    def tell(self, until: datetime) -> None:
        """Tell the story from its first day."""
        self._gather()
        self.market.open()
        first_day = self.calendar.month(0).first_day
        self.diary.at(self.calendar.moment(first_day, 8), self.yard.order_parts)
        for number in range(self.last + 1):
            self._month(number)
        if self.recorder is not None:
            self.diary.listener = self.recorder.comes_to
        self.diary.run(until)

    def end(self, now: datetime, logins_file: Path) -> None:
        """Play the last hours, and let the four people in."""
        # Chance of its own: the last hours are the same whether the year was played or recorded.
        self.diary = Diary(Random(SEED + 1))  # noqa: S311
        self._gather()
        self.market.look_up()
        LastHours(self.bench, self.market, now).tell()
        cast.give_passwords(logins_file)

    def _gather(self) -> None:
        """Bring people, scales and market together, from what is in the database."""
        people = {person.username: person for person in User.objects.all()}
        bench_scale, fine_scale, box_scale = (
            Scale.objects.get(name=name) for name in ("Bench scale", "Fine scale", "Box scale")
        )
        bea, ben, self.olga = people["bea"], people["ben"], people["olga"]
        self.acke = people["acke"]
        pans = Pans(self.diary.random)
        late: set[str] = set()
        self.late = late
        self.bench = Bench(self.diary, bea, ben, bench_scale, fine_scale, pans, late)
        polymer = Polymer.objects.get()
        self.yard = Yard(self.diary, bea, ben, fine_scale, box_scale, polymer, pans, late)
        self.market = Market(self.diary, self.bench, self.calendar, self.last + 1)

    def _on(self, number: int, day: int, hour: int, action: Callable[[datetime], None]) -> None:
        """Write an action for a day of a month; a day below 1 counts back from the month's end."""
        month = self.calendar.month(number)
        start = month.first_day if day > 0 else month.last_day
        date = start + timedelta(days=day - 1 if day > 0 else day)
        self.diary.at(self.calendar.moment(date, hour), action)

    def _month(self, number: int) -> None:
        yard = self.yard
        late = {part for part, (first, last) in LATE.items() if first <= number <= last}
        self._on(number, 1, 7, lambda _at: self._late(late))
        for day in (2, 9, 16, 23):
            self._on(number, day, 8, yard.order_parts)
        self._on(number, 3, 9, lambda at: self._take_pots_in(number, at))
        tare_twice = number == TARE_TWICE
        self._on(number, 5, 9, lambda at: yard.grind(Origin.FEEDSTOCK, at, tare_twice=tare_twice))
        for day in (10, 20):
            self._on(number, day, 9, lambda at: yard.grind(Origin.RETURN, at))
        self._on(number, 12, 8, lambda at: self._mould(number, at))
        self._on(number, -3, 9, lambda at: yard.grind(Origin.IN_PROCESS, at))
        self._on(number, -2, 9, yard.grind_the_rest)
        self._on(number, 0, 16, yard.sweep_up)
        self._on(
            number,
            0,
            17,
            lambda at: yard.count_the_fullest(at, misread=number == MISREAD_COUNT),
        )
        if number == BOOKED_TWICE:
            self._on(number, 20, 10, yard.book_twice)
            # After its close: the accountant takes it back, and a late delivery note turns up.
            self._on(number + 1, 4, 9, lambda at: yard.take_back(at, self.acke))
            self._on(number + 1, 5, 9, yard.tell_late)
        if number % WASTE_EVERY == WASTE_EVERY - 1:
            self._on(number, 0, 18, yard.empty_waste)
        if number < self.last:
            self._on(number, 0, 20, lambda at: self._sold(number, at))
            self._on(number + 1, 2, 9, lambda at: self._close(number, at))

    def _late(self, parts: set[str]) -> None:
        # In place: bench and yard hold the same set, and a new one would not reach them.
        self.late.clear()
        self.late.update(parts)

    def _take_pots_in(self, number: int, at: datetime) -> None:
        self.yard.take_pots_in(self.market.pots_needed(number, self.yard.flake_mg()), at)

    def _mould(self, number: int, at: datetime) -> None:
        for place, order in enumerate(self.market.orders(number)):
            self.yard.mould(order, at + timedelta(minutes=5 * place))

    def _sold(self, number: int, at: datetime) -> None:
        import_sales(self.diary, self.market.sales_list(number), at, self.olga)

    def _close(self, number: int, at: datetime) -> None:
        label, key = str(self.calendar.month(number)), self.diary.key()
        if self.recorder is None:
            _close(label, key, at)
            return
        # Kept as the deed that it is: its rows hold digests, which must be made anew when shifted.
        with self.recorder.closing(label, key, at):
            _close(label, key, at)


def _back(month: Month, count: int) -> Month:
    for _step in range(count):
        month = month.previous()
    return month
