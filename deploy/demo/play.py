"""Play a year of the demo workshop through the same rules that the pages call.

The twelve months before the current one are closed, the current one is open. Everything is drawn
from fixed seeds, so that two loads on one day tell the same story; only passwords and codes differ.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from django.contrib.auth.models import User
from django.db import transaction

from deploy.demo import cast, masters
from deploy.demo.bench import Bench
from deploy.demo.diary import Diary
from deploy.demo.lastday import LastHours
from deploy.demo.market import Calendar, Market, import_sales
from deploy.demo.material import Yard
from deploy.demo.pans import Pans
from inventory import outbox
from inventory.models import Movement, Origin, Polymer, Scale
from inventory.months import rules as months
from inventory.months.sums.calendar_month import Month
from returns.figures.span.queries import zone
from returns.models import Request, ReturnedFrame

SEED = 20
CLOSED_MONTHS = 12
# Parts that the supplier does not send, and the first and the last month without them.
LATE = {"arm-godwit": (5, 10), "arm-avocet": (7, 10)}
TARE_TWICE = 4
MISREAD_COUNT = 8


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
        story = _Story(now, logins_file, closed_months)
        story.tell()
    return Played(
        Request.objects.count(),
        ReturnedFrame.objects.count(),
        Movement.objects.count(),
        story.closed,
    )


class _Story:
    def __init__(self, now: datetime, logins_file: Path, closed_months: int) -> None:
        self.now = now
        self.last = closed_months
        self.diary = Diary(Random(SEED))  # noqa: S311  a story needs repeatable chance
        this_month = Month.of_date(now.astimezone(zone()).date())
        self.calendar = Calendar(_back(this_month, closed_months), zone())
        masters.furnish(today=now.date())
        self.house: dict[str, User] = cast.hire(logins_file)
        bench_scale, fine_scale, box_scale = (
            Scale.objects.get(name=name) for name in ("Bench scale", "Fine scale", "Box scale")
        )
        bea, ben = self.house["bea"], self.house["ben"]
        pans = Pans(self.diary.random)
        late: set[str] = set()
        self.late = late
        self.bench = Bench(self.diary, bea, ben, bench_scale, fine_scale, pans, late)
        polymer = Polymer.objects.get()
        self.yard = Yard(self.diary, bea, ben, fine_scale, box_scale, polymer, pans, late)
        self.market = Market(self.diary, self.bench, self.calendar, closed_months + 1)
        self.closed: list[str] = []

    def tell(self) -> None:
        self.market.open()
        first_day = self.calendar.month(0).first_day
        self.diary.at(self.calendar.moment(first_day, 8), self.yard.order_parts)
        for number in range(self.last + 1):
            self._month(number)
        self.diary.run(self.now)
        LastHours(self.bench, self.market, self.now).tell()

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
        self._on(number, 3, 9, lambda at: self._buy_pots(number, at))
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
        if number < self.last:
            self._on(number, 0, 20, lambda at: self._sold(number, at))
            self._on(number + 1, 2, 9, lambda at: self._close(number, at))

    def _late(self, parts: set[str]) -> None:
        # In place: bench and yard hold the same set, and a new one would not reach them.
        self.late.clear()
        self.late.update(parts)

    def _buy_pots(self, number: int, at: datetime) -> None:
        self.yard.buy_pots(self.market.pots_needed(number, self.yard.flake_mg()), at)

    def _mould(self, number: int, at: datetime) -> None:
        for place, order in enumerate(self.market.orders(number)):
            self.yard.mould(order, at + timedelta(minutes=5 * place))

    def _sold(self, number: int, at: datetime) -> None:
        import_sales(self.diary, self.market.sales_list(number), at, self.house["olga"])

    def _close(self, number: int, at: datetime) -> None:
        label = str(self.calendar.month(number))
        months.close(key=self.diary.key(), label=label, at=at, by=self.house["acke"])
        self.closed.append(label)


def _back(month: Month, count: int) -> Month:
    for _step in range(count):
        month = month.previous()
    return month
