"""Play four months of the demo workshop through the same rules that the pages call.

The three months before the current one are closed, the current one is open. Everything is drawn
from one seed, so that two loads on one day tell the same story; only passwords and codes differ.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from pathlib import Path
from random import Random

from django.contrib.auth.models import User
from django.db import transaction
from django.utils import timezone

from inventory import months, outbox
from inventory.models import Colour, Movement, Polymer, Scale
from inventory.sums.months import Month
from returns import intake, kits
from returns.models import (
    Colourway,
    Component,
    ProductionBatch,
    Request,
    ReturnedFrame,
    SoldUnits,
)
from returns.scenario import cast, customers, masters
from returns.scenario.bench import Bench
from returns.scenario.diary import Diary
from returns.scenario.failures import HAZARD_PPM, Broken, broken
from returns.scenario.lastday import LastHour
from returns.scenario.material import Yard

SEED = 20
CLOSED_MONTHS = 3
COHORTS = 7
SOLD_PER_COLOURWAY = 60
KITS_PER_MONTH = 22
NOTICE = "1"


@dataclass
class Told:
    """What a scenario came to."""

    requests: int
    frames: int
    movements: int
    closed: list[str]


@transaction.atomic
def play(*, now: datetime, logins_file: Path) -> Told:
    """Furnish an empty database and tell the story up to `now`, in one transaction."""
    with outbox.hushed():
        story = _Story(now, logins_file)
        story.tell()
    return Told(
        Request.objects.count(),
        ReturnedFrame.objects.count(),
        Movement.objects.count(),
        story.closed,
    )


class _Story:
    def __init__(self, now: datetime, logins_file: Path) -> None:
        self.now = now
        self.zone = timezone.get_default_timezone()
        self.diary = Diary(Random(SEED))  # noqa: S311  a story needs repeatable chance
        self.this_month = Month.of_date(now.astimezone(self.zone).date())
        self.first = _back(self.this_month, CLOSED_MONTHS)
        masters.furnish(today=now.date())
        self.house: dict[str, User] = cast.hire(logins_file)
        bench_scale, fine_scale, box_scale = (
            Scale.objects.get(name=name) for name in ("Bench scale", "Fine scale", "Box scale")
        )
        bea, ben = self.house["bea"], self.house["ben"]
        self.bench = Bench(self.diary, bea, ben, bench_scale, fine_scale)
        self.yard = Yard(self.diary, bea, ben, fine_scale, box_scale, Polymer.objects.get())
        self.bills: dict[int, list[Component]] = {}
        self.customers = 0
        self.closed: list[str] = []

    def tell(self) -> None:
        self._sell()
        self._stock_up()
        month = self.first
        while month <= self.this_month:
            self._month(month)
            month = month.next()
        self._break_frames()
        self._lose_screws()
        self.diary.run(self.now)
        LastHour(self.bench, self._regrind_filing, self.now).tell()

    def _regrind_filing(self, colourway: Colourway, component: str, defect: str) -> intake.Filing:
        return self._filing(colourway, component, defect, wish="regrind")

    def _moment(self, day: date, hour: int, minute: int = 0) -> datetime:
        local = datetime.combine(day, time(hour, minute), tzinfo=self.zone)
        return local.astimezone(UTC)

    def _sell(self) -> None:
        """One batch of each colourway a month, sold in the month after it was moulded."""
        month = _back(self.this_month, COHORTS)
        while month <= self.this_month:
            made = month.previous()
            for colourway in Colourway.objects.select_related("model", "colour"):
                self._sold_batch(colourway, made, month)
            month = month.next()

    def _sold_batch(self, colourway: Colourway, made: Month, sold: Month) -> None:
        if made >= self.first:
            return
        batch = ProductionBatch.objects.create(
            code=_batch_code(colourway, made),
            colourway=colourway,
            made_on=made.first_day,
            pieces=SOLD_PER_COLOURWAY + 6,
            heat=[[2, 800_000], [3, 160_000], [4, 40_000]],
        )
        SoldUnits.objects.create(
            batch=batch, month=str(sold), pieces=SOLD_PER_COLOURWAY, imported_at=self.now
        )

    def _stock_up(self) -> None:
        at = self._moment(self.first.first_day, 8)
        self.diary.at(at, self._opening_count)

    def _opening_count(self, at: datetime) -> None:
        self.yard.order_parts(at)
        for colour in Colour.objects.order_by("code"):
            self.yard.buy_pots(colour, 3_200_000, at + timedelta(hours=1))

    def _month(self, month: Month) -> None:
        first, last = month.first_day, month.last_day
        for day in (8, 15, 22):
            self.diary.at(self._moment(first + timedelta(days=day), 8), self.yard.order_parts)
        self.diary.at(self._moment(first + timedelta(days=3), 9), self._pots)
        self.diary.at(self._moment(first + timedelta(days=5), 9), self.yard.grind_what_is_full)
        self.diary.at(
            self._moment(first + timedelta(days=11), 8), lambda at: self._mould_all(month, at)
        )
        self.diary.at(self._moment(last - timedelta(days=2), 9), self.yard.grind_what_is_full)
        self.diary.at(self._moment(last, 16), self.yard.sweep_up)
        self.diary.at(self._moment(last, 17), self.yard.count_a_box)
        if month != self.this_month:
            close_at = self._moment(month.next().first_day + timedelta(days=1), 9, 30)
            self.diary.at(close_at, lambda at: self._close(month, at))

    def _pots(self, at: datetime) -> None:
        for colour in Colour.objects.order_by("code"):
            mass_mg = self.diary.random.randrange(1_500_000, 2_800_000, 1_000)
            self.yard.buy_pots(colour, mass_mg, at)

    def _mould_all(self, month: Month, at: datetime) -> None:
        for index, colourway in enumerate(Colourway.objects.select_related("model", "colour")):
            code = _batch_code(colourway, month)
            moment = at + timedelta(minutes=5 * index)
            self.yard.mould(colourway, code, SOLD_PER_COLOURWAY + 6, moment)
            batch = ProductionBatch.objects.filter(code=code).first()
            if batch is not None and month < self.this_month:
                SoldUnits.objects.create(
                    batch=batch,
                    month=str(month.next()),
                    pieces=min(batch.pieces, SOLD_PER_COLOURWAY),
                    imported_at=self.now,
                )

    def _close(self, month: Month, at: datetime) -> None:
        months.close(key=self.diary.key(), label=str(month), at=at, by=self.house["acke"])
        self.closed.append(str(month))

    def _break_frames(self) -> None:
        for sold in SoldUnits.objects.select_related("batch__colourway__model"):
            for _unit in range(sold.pieces):
                self._live(sold)

    def _live(self, sold: SoldUnits) -> None:
        """One sold frame month by month; if it fails inside the story, it is sent back."""
        chance = self.diary.random
        month = Month.parse(sold.month)
        for hazard_ppm in HAZARD_PPM:
            if chance.random() * 1_000_000 < hazard_ppm:
                break
            month = month.next()
        else:
            return
        if self.first <= month <= self.this_month:
            day = month.first_day + timedelta(days=chance.randint(0, 26))
            at = self._moment(day, chance.randint(7, 21), chance.randint(0, 59))
            frame = broken(chance, sold.batch, self._bill(sold.batch))
            self.diary.at(at, lambda moment: self._file(frame, moment))

    def _bill(self, batch: ProductionBatch) -> list[Component]:
        model = batch.colourway.model
        if model.pk not in self.bills:
            self.bills[model.pk] = list(model.components.all())
        return self.bills[model.pk]

    def _file(self, frame: Broken, at: datetime) -> None:
        chance = self.diary.random
        first = frame.findings[0]
        filing = self._filing(
            frame.colourway,
            first.component,
            first.defect,
            wish=self.diary.pick({"regrind": 82, "post_back": 18}),
        )
        request = intake.file_return(key=self.diary.key(), filing=filing, at=at)
        if chance.random() < 0.03:
            self.diary.at(
                at + timedelta(hours=9),
                lambda moment: _withdraw(self.diary, request, moment),
            )
            return
        posted = at + timedelta(days=chance.randint(2, 6))
        local = posted.astimezone(self.zone)
        arrival = self._moment(local.date(), 10, chance.randint(0, 59))
        self.diary.at(arrival, lambda moment: self._arrive(request, frame, moment))

    def _arrive(self, request: Request, frame: Broken, at: datetime) -> None:
        fate = self.diary.pick({"plain": 91, "no slip": 4, "two": 3, "empty": 1, "stranger": 2})
        contents = [] if fate == "empty" else [frame]
        if fate == "two":
            contents.append(broken(self.diary.random, frame.batch, self._bill(frame.batch)))
        slip = None if fate in {"no slip", "stranger"} else request
        came = self.bench.receive(slip, contents, at, stranger=fate == "stranger")
        if fate == "no slip":
            later = at + timedelta(days=self.diary.random.randint(2, 9), hours=5)
            self.diary.at(later, lambda moment: self.bench.find_sender(came[0], request, moment))

    def _lose_screws(self) -> None:
        chance = self.diary.random
        ways = list(Colourway.objects.select_related("model", "colour"))
        month = self.first
        while month <= self.this_month:
            for _request in range(KITS_PER_MONTH):
                day = month.first_day + timedelta(days=chance.randint(0, 26))
                at = self._moment(day, chance.randint(7, 21), chance.randint(0, 59))
                colourway = chance.choice(ways)
                self.diary.at(at, partial(self._ask, colourway))
            month = month.next()

    def _ask(self, colourway: Colourway, at: datetime) -> None:
        side = self.diary.random.choice(("left", "right"))
        defect = self.diary.pick({"loose_screw": 3, "missing": 2})
        filing = self._filing(colourway, f"screw_{side}", defect, wish="")
        request = intake.ask_screws(key=self.diary.key(), filing=filing, at=at)
        self.diary.at(at + timedelta(days=1), lambda moment: self._post_kit(request, moment))

    def _post_kit(self, request: Request, at: datetime) -> None:
        request.refresh_from_db()
        if request.state == "waiting_stock":
            self.diary.at(at + timedelta(days=2), lambda moment: self._post_kit(request, moment))
            return
        kits.post(key=self.diary.key(), request=request, at=at, by=self.house["ben"])
        if self.diary.random.random() < 0.03:
            self.diary.at(at + timedelta(days=9), lambda moment: self._never_came(request, moment))

    def _never_came(self, request: Request, at: datetime) -> None:
        request.refresh_from_db()
        kits.report_missing(key=self.diary.key(), request=request, at=at)
        later = at + timedelta(hours=20)
        self.diary.at(later, lambda moment: self._post_again(request, moment))

    def _post_again(self, request: Request, at: datetime) -> None:
        request.refresh_from_db()
        kits.repost(key=self.diary.key(), request=request, at=at, by=self.house["bea"])
        self.diary.at(at + timedelta(hours=2), lambda moment: self._post_kit(request, moment))

    def _filing(
        self, colourway: Colourway, component: str, defect: str, *, wish: str
    ) -> intake.Filing:
        self.customers += 1
        return intake.Filing(
            colourway=colourway,
            component=component,
            defect=defect,
            note="",
            wish=wish,
            lenses_back=bool(wish) and self.diary.random.random() < 0.15,
            notice_version=NOTICE,
            contact=customers.someone(self.diary.random, self.customers),
        )


def _withdraw(diary: Diary, request: Request, at: datetime) -> None:
    intake.withdraw(key=diary.key(), request=request, at=at)


def _back(month: Month, count: int) -> Month:
    for _step in range(count):
        month = month.previous()
    return month


def _batch_code(colourway: Colourway, made: Month) -> str:
    model, colour = colourway.model.code[:2].upper(), colourway.colour.code[:2].upper()
    return f"{model}{colour}-{str(made)[2:].replace('-', '')}"
