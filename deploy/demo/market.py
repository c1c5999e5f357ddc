"""What is moulded, sold and filed in the scenario: `lives` laid on calendar and database."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from functools import partial
from random import Random
from zoneinfo import ZoneInfo

from django.contrib.auth.models import User

from deploy.demo import customers, lives
from deploy.demo.bench import Bench
from deploy.demo.diary import Diary
from deploy.demo.failures import Broken, broken
from deploy.demo.lives import Batch, Break, LostScrew
from deploy.demo.material import OWN_SCRAP_SHARE, Moulding
from inventory.models import Colour
from inventory.months.sums.calendar_month import Month
from returns.catalogue import queries as catalogue
from returns.catalogue.queries import Heap
from returns.catalogue.rules import sold
from returns.filing.rules import intake
from returns.kits.rules import kits
from returns.models import Colourway, Component, ProductionBatch, Request

NOTICE = "1"
# More of the workshop's own scrap than any other batch gets: the owner will find out about it.
WEAK_SCRAP_SHARE = 0.4
# Until then the colour's scrap is saved up.
SCRAP_KEPT_BACK = 0.0
POTS_ROOM = 1.08
# What is moulded last is sold after the story has ended.
MONTHS_BEYOND = 2
POTS_AT_LEAST_MG = 300_000


@dataclass(frozen=True, slots=True)
class Calendar:
    """Months numbered from the first one of the books, on the workshop's clock."""

    first: Month
    zone: ZoneInfo

    def month(self, number: int) -> Month:
        index = self.first.year * 12 + self.first.number - 1 + number
        return Month(index // 12, index % 12 + 1)

    def moment(self, day: date, hour: int, minute: int = 0) -> datetime:
        # On the workshop's clock first, so that eight in the morning stays so when the clocks
        # change.
        local = datetime.combine(day, time(hour, minute), tzinfo=self.zone)
        return local.astimezone(UTC)

    def at(self, months: float, random: Random) -> datetime:
        """Return a moment of the day on which so many months have passed since the first."""
        month = self.month(int(months))
        days = (month.last_day - month.first_day).days + 1
        day = month.first_day + timedelta(days=int(months % 1 * days))
        return self.moment(day, random.randint(7, 21), random.randint(0, 59))


@dataclass
class Market:
    """Everything between the press and the letter box. `months` are those with sales."""

    diary: Diary
    bench: Bench
    calendar: Calendar
    months: int
    ways: dict[tuple[str, str], Colourway] = field(default_factory=dict)
    bills: dict[int, list[Component]] = field(default_factory=dict)
    materials: dict[int, tuple[Heap, ...]] = field(default_factory=dict)
    batches: tuple[Batch, ...] = ()
    customers: int = 0

    def open(self) -> None:
        """Lay out every batch, and what will come back of it."""
        self.look_up()
        self.batches = lives.batches(self.months + MONTHS_BEYOND)
        for batch in self.batches:
            if batch.month < 0:
                self._made_before_the_books(batch)
            chance = lives.chance(batch)
            for one in lives.breaks(chance, batch):
                # `partial` binds the break of this turn; a lambda would see the last one when it is
                # called.
                self._on(one.filed, chance, partial(self._file, one))
            for screw in lives.lost_screws(chance, batch):
                self._on(screw.filed, chance, partial(self._ask, screw))

    def look_up(self) -> None:
        """Learn from the database what is on sale, and how many customers there have been."""
        self.customers = Request.objects.count()
        ways = list(Colourway.objects.select_related("model", "colour", "polymer"))
        self.materials = catalogue.by_material(ways)
        for way in ways:
            self.ways[way.model.code, way.colour.code] = way
            self.bills[way.model_id] = list(way.model.components.all())

    def _on(self, months: float, chance: Random, action: partial[None]) -> None:
        if months < self.months:
            self.diary.at(self.calendar.at(months, chance), action)

    def _made_before_the_books(self, batch: Batch) -> None:
        ProductionBatch.objects.create(
            code=self.code(batch),
            colourway=self.ways[batch.model, batch.colour],
            made_on=self.calendar.month(batch.month).first_day + timedelta(days=11),
            pieces=batch.pieces,
            heat=[[2, 800_000], [3, 160_000], [4, 40_000]],
        )

    def code(self, batch: Batch) -> str:
        made = str(self.calendar.month(batch.month))[2:].replace("-", "")
        return f"{batch.model[:2]}{batch.colour[:2]}-{made}".upper()

    def orders(self, number: int) -> list[Moulding]:
        """Return what is to be moulded in a month."""
        return [self._order(batch) for batch in self.batches if batch.month == number]

    def _order(self, batch: Batch) -> Moulding:
        way = self.ways[batch.model, batch.colour]
        share = OWN_SCRAP_SHARE
        if batch.is_weak:
            share = WEAK_SCRAP_SHARE
        elif batch.colour == lives.WEAK_WAY[1] and batch.month <= lives.WEAK_MONTH:
            share = SCRAP_KEPT_BACK
        return Moulding(
            colourway=way,
            code=self.code(batch),
            pieces=batch.pieces,
            materials=tuple(
                (heap.material.colour, heap.nominal_mg) for heap in self.materials[way.pk]
            ),
            scrap_share=share,
        )

    def pots_needed(self, number: int, flake_mg: dict[str, int]) -> dict[Colour, int]:
        """Return by colour the mg of pots bought in a month: enough for two months of moulding."""
        wanted: dict[Colour, int] = {}
        for order in (*self.orders(number), *self.orders(number + 1)):
            for colour, mass_mg in order.flake_mg():
                wanted[colour] = wanted.get(colour, 0) + round(mass_mg * POTS_ROOM)
        short = {colour: mass - flake_mg.get(colour.code, 0) for colour, mass in wanted.items()}
        return {
            colour: max(mass, POTS_AT_LEAST_MG)
            for colour, mass in sorted(short.items(), key=lambda one: one[0].code)
            if mass > 0
        }

    def sales_list(self, number: int) -> list[sold.Row]:
        """Return the month's sales as the shop's list has them."""
        month = str(self.calendar.month(number))
        pieces = [
            (self.code(batch), count)
            for batch in self.batches
            for at, count in batch.sold
            if at == number and count
        ]
        return [
            sold.Row(line, code, month, str(count)) for line, (code, count) in enumerate(pieces, 1)
        ]

    def _file(self, one: Break, at: datetime) -> None:
        batch = ProductionBatch.objects.get(code=self.code(one.batch))
        way = self.ways[one.batch.model, one.batch.colour]
        # The object at hand, whose model and colour are loaded: thousands of questions less.
        batch.colourway = way
        frame = broken(self.diary.random, batch, self.bills[way.model_id], one.cause)
        first = frame.findings[0]
        wish = self.diary.pick({"regrind": 82, "post_back": 18})
        filing = self.filing(way, first.component, first.defect, wish=wish)
        request = intake.file_return(key=self.diary.key(), filing=filing, at=at)
        if one.fate == "withdrawn":
            later = at + timedelta(hours=9)
            self.diary.at(later, lambda moment: _withdraw(self.diary, request, moment))
            return
        posted = (at + timedelta(days=one.days)).astimezone(self.calendar.zone)
        arrival = self.calendar.moment(posted.date(), 10, self.diary.random.randint(0, 59))
        self.diary.at(arrival, lambda moment: self._arrive(request, frame, one.fate, moment))

    def _arrive(self, request: Request, frame: Broken, fate: str, at: datetime) -> None:
        contents = [] if fate == "empty" else [frame]
        if fate == "two frames":
            bill = self.bills[frame.batch.colourway.model_id]
            contents.append(broken(self.diary.random, frame.batch, bill))
        slip = None if fate in {"no slip", "stranger"} else request
        came = self.bench.receive(slip, contents, at, stranger=fate == "stranger")
        if fate == "no slip":
            later = at + timedelta(days=self.diary.random.randint(2, 9), hours=5)
            self.diary.at(later, lambda moment: self.bench.find_sender(came[0], request, moment))

    def _ask(self, screw: LostScrew, at: datetime) -> None:
        way = self.ways[screw.batch.model, screw.batch.colour]
        request = self.ask_for_screw(way, at)
        self.diary.at(at + timedelta(days=1), lambda moment: self._post_kit(request, moment))

    def ask_for_screw(self, way: Colourway, at: datetime) -> Request:
        """File a wearer's request for a spare screw."""
        side = self.diary.random.choice(("left", "right"))
        defect = self.diary.pick({"loose_screw": 3, "missing": 2})
        filing = self.filing(way, f"screw_{side}", defect, wish="")
        return intake.ask_screws(key=self.diary.key(), filing=filing, at=at)

    def _post_kit(self, request: Request, at: datetime) -> None:
        request.refresh_from_db()
        if request.state == "waiting_stock":
            self.diary.at(at + timedelta(days=2), lambda moment: self._post_kit(request, moment))
            return
        kits.post(key=self.diary.key(), request=request, at=at, by=self.bench.ben)
        if self.diary.random.random() < 0.03:
            self.diary.at(at + timedelta(days=9), lambda moment: self._never_came(request, moment))

    def _never_came(self, request: Request, at: datetime) -> None:
        request.refresh_from_db()
        kits.report_missing(key=self.diary.key(), request=request, at=at)
        later = at + timedelta(hours=20)
        self.diary.at(later, lambda moment: self._post_again(request, moment))

    def _post_again(self, request: Request, at: datetime) -> None:
        request.refresh_from_db()
        kits.repost(key=self.diary.key(), request=request, at=at, by=self.bench.bea)
        self.diary.at(at + timedelta(hours=2), lambda moment: self._post_kit(request, moment))

    def filing(self, way: Colourway, component: str, defect: str, *, wish: str) -> intake.Filing:
        """Return what a wearer types, with an invented address."""
        self.customers += 1
        return intake.Filing(
            colourway=way,
            component=component,
            defect=defect,
            note="",
            wish=wish,
            lenses_back=bool(wish) and self.diary.random.random() < 0.15,
            notice_version=NOTICE,
            contact=customers.someone(self.diary.random, self.customers),
        )


def import_sales(diary: Diary, rows: Iterable[sold.Row], at: datetime, by: User) -> None:
    """Import a month's list, as the owner uploads it."""
    sold.bring_in(key=diary.key(), rows=list(rows), at=at, by=by)


def _withdraw(diary: Diary, request: Request, at: datetime) -> None:
    intake.withdraw(key=diary.key(), request=request, at=at)
