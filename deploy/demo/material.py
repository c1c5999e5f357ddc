"""Material in the scenario: pots come in, boxes are ground, flake is moulded, scrap comes back."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random

from django.contrib.auth.models import User

from deploy.demo.bench import restock
from deploy.demo.diary import Diary
from deploy.demo.pans import Pans, typed
from inventory.goods import rules as loads
from inventory.goods.rules import Goods, Net, Sorted, TakenOut
from inventory.ledger.rules import late, places, reversing
from inventory.ledger.sums.shares import apportion
from inventory.material.queries import boxes
from inventory.material.rules import cards, grinding, material
from inventory.models import (
    Colour,
    GrindRun,
    Lot,
    Movement,
    Origin,
    Part,
    Place,
    PlaceKind,
    Polymer,
    Reading,
    RecipeCard,
    Scale,
)
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.goods import rules as givers
from returns.goods.rules import Who
from returns.kits.rules import kits
from returns.models import Colourway, ProductionBatch
from returns.moulding import rules as batches
from returns.regrind.rules import regrind
from returns.spoiling import rules as spoiling

GRIND_FROM_MG = {Origin.FEEDSTOCK: 1_000, Origin.RETURN: 60_000, Origin.IN_PROCESS: 400_000}
# A story ends when its frame is ground: at the end of a month whatever there is of returns is.
LAST_OF_MONTH_FROM_MG = 10_000
PURGED_FROM_MG = 60_000
FINE_UP_TO_MG = 200_000
# Flake issued for a piece, per frame material in it: the rest comes back as runners.
ISSUED_SHARE = 1.13
OWN_SCRAP_SHARE = 0.12
CRUMBS_MG = 1_000
DELIVERY_PIECES = 20
LATE_DAYS = 12
# Gross, with soil and wire on it, a load must still go on the scale.
LOAD_NET_MAX_MG = 4_000_000
# Of used pots: where each stream goes, for whom, and its share of the clean plastic. Invented.
TAKEN_OUT = {
    "film": ("waste", "", (0.01, 0.03)),
    "metal": ("sold", "wire handles, to the smith", (0.02, 0.05)),
    "polymer": ("given", "trays of another polymer", (0.01, 0.04)),
    "dirt": ("waste", "", (0.05, 0.12)),
}
SPOILED = (
    ("drilling", "hole-off"),
    ("drilling", "hole-off"),
    ("groove", "groove-slipped"),
    ("finishing", "scratched"),
    ("inspection", "colour"),
)
DIRTY_LOAD_MAX_MG = 2_500_000
BUCKET_MG = 96_000
"""The tare of the flake bucket, which is once taken off twice."""


@dataclass(frozen=True, slots=True)
class Moulding:
    """What is to be moulded: the mg of each material in a piece. `scrap_share` is how much of it
    may be the workshop's own scrap."""

    colourway: Colourway
    code: str
    pieces: int
    materials: tuple[tuple[Colour, int], ...]
    scrap_share: float = OWN_SCRAP_SHARE

    def wanted_mg(self, piece_mg: int) -> int:
        return round(self.pieces * piece_mg * ISSUED_SHARE)

    def flake_mg(self) -> Iterator[tuple[Colour, int]]:
        """Yield the base colours that are wanted, a blend's by its recipe."""
        for colour, piece_mg in self.materials:
            if not colour.is_blend:
                yield colour, self.wanted_mg(piece_mg)
            for share in colour.shares.select_related("of"):
                yield share.of, self.wanted_mg(piece_mg) * share.share_ppm // 1_000_000


@dataclass
class Yard:
    """The back of the workshop: boxes, mill, lots and moulding."""

    diary: Diary
    bea: User
    ben: User
    fine_scale: Scale
    box_scale: Scale
    polymer: Polymer
    pans: Pans
    late: set[str]
    """Parts that the supplier does not send for now."""
    wrong_lot: Lot | None = field(default=None)
    booked_twice: Movement | None = field(default=None)

    def take_pots_in(self, needed: Mapping[Colour, int], at: datetime) -> None:
        """Take nursery pots in, with soil, labels and wire handles: loads of each colour needed."""
        chance = Random(f"pots {at:%Y%m}")  # noqa: S311  a story needs repeatable chance
        for colour, mass_mg in needed.items():
            loads = -(-mass_mg // LOAD_NET_MAX_MG)
            for part_mg in apportion(mass_mg, [1] * loads):
                at += timedelta(minutes=15)
                self._take_in(colour, part_mg, chance, at)

    def _take_in(self, colour: Colour, net_mg: int, chance: Random, at: datetime) -> None:
        """Take one load in and apart. What is left over was washed and dried off."""
        streams = {
            name: (went, note, int(net_mg * chance.uniform(*share)))
            for name, (went, note, share) in TAKEN_OUT.items()
        }
        washed_mg = int(net_mg * chance.uniform(0.02, 0.05))
        gross_mg = net_mg + washed_mg + sum(mass for _went, _note, mass in streams.values())
        # Most pots are a nursery's, which is paid for its trouble: 1.40 a kilogram, in whole cents.
        is_sold = chance.random() < 0.7
        what = Goods(
            kind="plant-pots",
            giver_class="nursery" if is_sold else "household",
            way="sold" if is_sold else "left",
            cost_minor=net_mg * 140 // 1_000_000 if is_sold else 0,
        )
        # Only who asked for a receipt is named; both are invented.
        named = Who(name="Saltmarsh Nursery", contact="pots@example.org")
        facts = {"by": self.bea}
        load = givers.take_in(
            key=self.diary.key(),
            goods=what,
            weighing=self._aside(gross_mg),
            who=named if is_sold else Who(),
            at=at,
            **facts,
        )
        for minutes, (name, (went, note, mass_mg)) in enumerate(streams.items(), start=2):
            loads.take_out(
                key=self.diary.key(),
                load=load,
                out=TakenOut(stream=name, went=went, note=note),
                weighing=self._aside(mass_mg),
                at=at + timedelta(minutes=minutes),
                **facts,
            )
        # The only reading on the story's own chance, as it always was.
        net = Net(polymer=self.polymer, colour=colour, mass=self._weighed(net_mg).mass)
        loads.finish(
            key=self.diary.key(),
            load=load,
            out=Sorted(scale=self.box_scale, nets=[net]),
            at=at + timedelta(minutes=12),
            **facts,
        )
        box = places.box(polymer=self.polymer, colour=colour, origin=Origin.FEEDSTOCK)
        self.pans.put(box, net_mg)

    def _aside(self, mass_mg: int) -> material.Weighing:
        """Weigh what the rest of the story does not hang on."""
        scale = self.fine_scale if mass_mg <= FINE_UP_TO_MG else self.box_scale
        return material.Weighing(scale=scale, mass=typed(mass_mg, scale))

    def _weighed(self, mass_mg: int) -> material.Weighing:
        shown = self.pans.read(mass_mg, self.box_scale)
        return material.Weighing(scale=self.box_scale, mass=shown)

    def grind(self, origin: Origin, at: datetime, *, tare_twice: bool = False) -> None:
        """Grind every box worth a run, proposed by Bea and confirmed by Ben.

        `tare_twice`: at the first run, the tare of the flake's bucket is taken off twice.
        """
        self._grind_from(origin, GRIND_FROM_MG[origin], at, tare_twice=tare_twice)

    def grind_the_rest(self, at: datetime) -> None:
        """Grind what there is of returns, which may not wait for a full box for ever."""
        self._grind_from(Origin.RETURN, LAST_OF_MONTH_FROM_MG, at, tare_twice=False)

    def _grind_from(self, origin: Origin, least_mg: int, at: datetime, *, tare_twice: bool) -> None:
        for box in Place.objects.filter(kind=PlaceKind.BOX, origin=origin).order_by("code"):
            if boxes.held_mg(box) >= least_mg:
                at += timedelta(minutes=50)
                run = self._grind(box, at, BUCKET_MG if tare_twice else 0)
                # Remembered, so that the count at the month's end finds what the tare taken off
                # twice left over.
                self.wrong_lot = run.lot if tare_twice else self.wrong_lot
                tare_twice = False

    def _grind(self, box: Place, at: datetime, tare_mg: int) -> GrindRun:
        run = grinding.propose(key=self.diary.key(), box=box, at=at, by=self.bea)
        run = grinding.confirm(
            key=self.diary.key(),
            run=run,
            seen_mg=run.box_mg,
            scanned=box.code,
            at=at + timedelta(minutes=5),
            by=self.ben,
        )
        out, flake_mg = self._milled(run, tare_mg)
        run = regrind.finish(
            key=self.diary.key(), run=run, out=out, at=at + timedelta(minutes=35), by=self.ben
        )
        if run.state == GrindRun.State.HELD:
            run = regrind.explain(
                key=self.diary.key(),
                run=run,
                explanation=_explained(run),
                at=at + timedelta(minutes=45),
                by=self.ben,
            )
        if run.lot is not None:
            self.pans.put(Place.objects.get(lot=run.lot), flake_mg)
        return run

    def _milled(self, run: GrindRun, tare_mg: int) -> tuple[grinding.GrindOut, int]:
        """Return what is typed, and the flake's true mg. Dust and purge are weighed finely."""
        chance = self.diary.random
        fine = run.box_mg <= FINE_UP_TO_MG
        scale = self.fine_scale if fine else self.box_scale
        inside_mg = self.pans.take(run.box, self.pans.lies_in(run.box))
        # A dirty load exceeds the owner's limit of losses, so that the run is held and must be
        # explained.
        dirty = chance.random() < 0.06 and inside_mg < DIRTY_LOAD_MAX_MG
        dust_mg = int(inside_mg * (0.065 if dirty else chance.uniform(0.008, 0.02)))
        purged = inside_mg >= PURGED_FROM_MG
        purge_mg = int(inside_mg * chance.uniform(0.004, 0.008)) if purged else 0
        kept_mg = chance.randint(3, 9) if fine else chance.randint(700, 1_800)
        # By subtraction from what really was inside, so that mass is conserved to the milligram.
        flake_mg = inside_mg - dust_mg - purge_mg - kept_mg
        read, fine_scale = self.pans.read, self.fine_scale
        out = grinding.GrindOut(
            scale=scale,
            fine_scale=fine_scale,
            flake=read(flake_mg - tare_mg, scale),
            dust=read(dust_mg, fine_scale),
            purge=read(purge_mg, fine_scale) if purge_mg else "",
            minutes=20 + run.box_mg // 60_000,
            colour_change=purge_mg > 0,
            melt_flow_mg_per_10min=chance.randrange(9_000, 15_000, 100),
            melt_flow_tolerance_mg=600,
        )
        return out, flake_mg

    def mould(self, order: Moulding, at: datetime) -> None:
        """Issue flake of each material and mould a batch; runners come back as scrap, and of the
        pairs that came good out of the press a few are spoiled later."""
        issued = {}
        for colour, piece_mg in order.materials:
            give = self._weigh_card if colour.is_blend else self._issue
            issued[colour] = give(order, colour, order.wanted_mg(piece_mg), at)
        chance = Random(f"spoiled {order.code}")  # noqa: S311  a story needs repeatable chance
        lost = chance.randint(1, max(1, order.pieces // 30))
        batch = batches.mould(
            key=self.diary.key(),
            colourway=order.colourway,
            code=order.code,
            made_on=at.date(),
            pieces=order.pieces + lost,
            issues=[movement for movement, _got_mg in issued.values()],
            at=at + timedelta(hours=5),
            by=self.bea,
        )
        self._note_settings(batch, chance, at + timedelta(hours=5, minutes=10))
        for colour, piece_mg in order.materials:
            scrap_mg = issued[colour][1] - (order.pieces + lost) * piece_mg
            if scrap_mg >= self.box_scale.minimum_mg:
                self._scrap(batch, colour, scrap_mg, at + timedelta(hours=6))
        self._spoil(batch, order, chance, lost, at + timedelta(hours=7))

    def _note_settings(self, batch: ProductionBatch, chance: Random, at: datetime) -> None:
        settings = batches.Settings(
            mould_temperature_c=chance.randrange(50, 66),
            melt_temperature_c=chance.randrange(200, 216),
            force_n=chance.randrange(18_000, 22_001, 500),
            press_time_s=chance.randrange(45, 76, 5),
            # By hand from the press to the polished pair.
            work_minutes=batch.pieces * chance.randrange(24, 29),
        )
        batches.note_settings(
            key=self.diary.key(), batch=batch, settings=settings, at=at, by=self.ben
        )

    def _spoil(
        self, batch: ProductionBatch, order: Moulding, chance: Random, lost: int, at: datetime
    ) -> None:
        """Book spoiled pairs, cut apart where front and arms differ."""
        step, cause = chance.choice(SPOILED)
        whole_mg = sum(lost * piece_mg for _colour, piece_mg in order.materials)
        scale = self.fine_scale if whole_mg <= FINE_UP_TO_MG else self.box_scale
        for colour, piece_mg in order.materials:
            box = places.box(polymer=self.polymer, colour=colour, origin=Origin.IN_PROCESS)
            self.pans.put(box, lost * piece_mg)
        spoiling.book(
            key=self.diary.key(),
            batch=batch,
            what=spoiling.What(step=step, cause=cause, pieces=lost),
            scale=scale,
            heaps=[
                spoiling.ScrapHeap(mass=typed(lost * piece_mg, scale), into=colour)
                for colour, piece_mg in order.materials
            ],
            at=at,
            by=self.ben,
        )

    def _weigh_card(
        self, order: Moulding, blend: Colour, wanted_mg: int, at: datetime
    ) -> tuple[Movement, int]:
        """Mix a blend by its recipe card; return the movement and the true mg that went in."""
        earlier = RecipeCard.objects.filter(blend=blend, state=RecipeCard.State.WEIGHED)
        wanted = cards.Wanted(
            blend=blend,
            polymer=self.polymer,
            total_mg=wanted_mg,
            batch_code=order.code,
            wanted_for=f"Fronts of {order.colourway}",
            # Another batch like the last one, from the second on.
            like=earlier.order_by("-made_at", "-pk").first(),
        )
        card = cards.plan(key=self.diary.key(), wanted=wanted, at=at, by=self.bea)
        lines = card.lines.select_related("lot__place", "lot__colour")
        typed_by_lot, got_mg = self._taken({line.lot: line.wanted_mg for line in lines})
        done = cards.weigh(
            key=self.diary.key(),
            card=card,
            lots=typed_by_lot,
            scanned=[lot.code for lot in typed_by_lot],
            scale=self.box_scale,
            reason="The bag held less than the books: the last of it.",
            at=at,
            by=self.bea,
        )
        return Movement.objects.get(card=done), got_mg

    def _issue(
        self, order: Moulding, colour: Colour, wanted_mg: int, at: datetime
    ) -> tuple[Movement, int]:
        """Issue flake and return the movement with the true mg that went to the press."""
        typed_by_lot, got_mg = self._taken(self._chosen(order, colour, wanted_mg))
        movement = material.issue(
            key=self.diary.key(),
            lots=typed_by_lot,
            scanned=[lot.code for lot in typed_by_lot],
            batch_code=order.code,
            scale=self.box_scale,
            at=at,
            by=self.bea,
        )
        return movement, got_mg

    def _taken(self, wanted: Mapping[Lot, int]) -> tuple[dict[Lot, str], int]:
        """Take from the bags; return what is typed for each, and the true mg together."""
        typed_by_lot: dict[Lot, str] = {}
        got_mg = 0
        for lot, wanted_mg in wanted.items():
            taken_mg = self.pans.take(lot.place, wanted_mg)
            shown = self.pans.read(taken_mg, self.box_scale)
            booked_mg = boxes.held_mg(lot.place)
            if _mg(shown) > booked_mg:
                # The books cannot give more than they hold.
                shown = typed(booked_mg - self.box_scale.division_mg // 2, self.box_scale)
            typed_by_lot[lot] = shown
            got_mg += taken_mg
        return typed_by_lot, got_mg

    def _chosen(self, order: Moulding, colour: Colour, wanted_mg: int) -> dict[Lot, int]:
        """Choose own returns first, then some scrap, then bought pots; the oldest lots first."""
        rows = Lot.objects.filter(colour=colour).order_by("made_at", "code")
        lots = [lot for lot in rows.select_related("place__balance") if self._can_give(lot)]
        left_mg = wanted_mg
        scrap_mg = round(wanted_mg * order.scrap_share)
        chosen: dict[Lot, int] = {}
        for origin in (Origin.RETURN, Origin.IN_PROCESS, Origin.FEEDSTOCK):
            for lot in lots:
                most_mg = min(left_mg, scrap_mg) if origin == Origin.IN_PROCESS else left_mg
                if lot.origin != origin or most_mg <= CRUMBS_MG:
                    continue
                chosen[lot] = min(most_mg, self.pans.lies_in(lot.place))
                left_mg -= chosen[lot]
                scrap_mg -= chosen[lot] if origin == Origin.IN_PROCESS else 0
        return chosen

    def _can_give(self, lot: Lot) -> bool:
        """Tell whether the bag holds more than crumbs, by the books and in truth."""
        return min(self.pans.lies_in(lot.place), lot.place.balance.quantity) > CRUMBS_MG

    def _scrap(self, batch: ProductionBatch, colour: Colour, mass_mg: int, at: datetime) -> None:
        movement = spoiling.return_scrap(
            key=self.diary.key(),
            batch=batch,
            into=colour,
            weighing=self._weighed(mass_mg),
            at=at,
            by=self.bea,
        )
        self.pans.put(_target(movement), mass_mg)

    def flake_mg(self) -> Counter[str]:
        """Return the true mg of flake in the lots, by colour code."""
        held: Counter[str] = Counter()
        for lot in Lot.objects.select_related("place", "colour"):
            held[lot.colour.code] += self.pans.lies_in(lot.place)
        return held

    def order_parts(self, at: datetime) -> None:
        """Bring every part below its reorder level up by an order, and serve who waited."""
        for part in Part.objects.order_by("code"):
            if part.code not in self.late and part_stock.available(part) < part.reorder_level:
                pieces = restock(part)
                stock.receive(
                    key=self.diary.key(),
                    part=part,
                    pieces=pieces,
                    cost_minor=pieces * part.price_minor,
                    at=at,
                    actor=self.bea,
                )
        kits.reserve_waiting(at)

    def book_twice(self, at: datetime) -> None:
        """Book one delivery of the part that there is most of under two keys: a slip."""
        part = max(Part.objects.order_by("code"), key=part_stock.available)
        for minutes in (0, 4):
            self.booked_twice = self._delivered(part, at + timedelta(minutes=minutes))

    def take_back(self, at: datetime, by: User) -> None:
        """Reverse the second booking, found once its month was closed."""
        if self.booked_twice is not None:
            reversing.reverse(
                key=self.diary.key(),
                movement=self.booked_twice,
                reason="One delivery, booked twice: the supplier's invoice names it once.",
                at=at,
                by=by,
            )

    def tell_late(self, at: datetime) -> None:
        """Book a delivery of the month before, whose note turned up after its close."""
        part = min(Part.objects.order_by("code"), key=part_stock.available)
        late.telling(stock.receive)(
            key=self.diary.key(),
            part=part,
            pieces=DELIVERY_PIECES,
            cost_minor=DELIVERY_PIECES * part.price_minor,
            at=at,
            actor=self.bea,
            happened_on=at.date() - timedelta(days=LATE_DAYS),
            late_reason="The delivery note lay under the mill.",
        )

    def _delivered(self, part: Part, at: datetime) -> Movement:
        return stock.receive(
            key=self.diary.key(),
            part=part,
            pieces=DELIVERY_PIECES,
            cost_minor=DELIVERY_PIECES * part.price_minor,
            at=at,
            actor=self.bea,
        )

    def empty_waste(self, at: datetime) -> None:
        """Have lenses and metal taken away."""
        kinds = [PlaceKind.LENS, PlaceKind.METAL]
        for place in Place.objects.filter(kind__in=kinds, balance__quantity__gt=0).order_by("code"):
            material.dispose(
                key=self.diary.key(),
                place=place,
                reason="Taken to the municipal recycling yard.",
                at=at,
                by=self.ben,
            )

    def sweep_up(self, at: datetime) -> None:
        """Throw out bags with crumbs only, and count them as empty."""
        for lot in Lot.objects.select_related("place__balance"):
            if lot.place.balance.quantity > 0 and self.pans.lies_in(lot.place) <= CRUMBS_MG:
                self._count(lot, "0", "The bag is empty", at)

    def count_the_fullest(self, at: datetime, *, misread: bool = False) -> None:
        """Count stock at the end of a month. `misread`: two digits change places, and the lot
        is counted again before the day is over. A lot known to be wrong is counted first."""
        lots = list(Lot.objects.select_related("place"))
        fullest = max(lots, key=lambda lot: self.pans.lies_in(lot.place), default=None)
        lot = self.wrong_lot or fullest
        if lot is None or self.pans.lies_in(lot.place) < 50_000:
            return
        true_mg = self.pans.lies_in(lot.place)
        if misread:
            self._count(lot, _swapped(true_mg), "Month-end stock count", at)
            reason = "Counted again by two: digits had changed places an hour ago."
            self._count(lot, self._weighed(true_mg).mass, reason, at + timedelta(hours=1))
            return
        reason = "Month-end stock count"
        if self.wrong_lot is not None:
            reason = "Approved after a second weighing: the bucket's tare was taken off twice."
            self.wrong_lot = None
        self._count(lot, self._weighed(true_mg).mass, reason, at)

    def _count(self, lot: Lot, mass: str, reason: str, at: datetime) -> None:
        material.count(
            key=self.diary.key(),
            place=lot.place,
            weighing=material.Weighing(scale=self.box_scale, mass=mass),
            reason=reason,
            at=at,
            by=self.ben,
        )


def _explained(run: GrindRun) -> str:
    readings = Reading.objects.filter(pk__in=run.readings.values())
    if sum(reading.mass_mg for reading in readings) > run.box_mg:
        return "No more than the scale's own error: the box was weighed in several loads."
    return "Dirty load: more fines than usual, sieved off and weighed as dust."


def _target(movement: Movement) -> Place:
    return movement.postings.select_related("target")[0].target


def _mg(shown: str) -> int:
    return round(float(shown.removesuffix(" g")) * 1000)


def _swapped(mass_mg: int) -> str:
    """Return a reading in grams with two neighbouring digits changed, the first that differ."""
    digits = list(str(round(mass_mg / 1000)))
    place = next((n for n in range(1, len(digits) - 1) if digits[n] != digits[n + 1]), 0)
    digits[place], digits[place + 1] = digits[place + 1], digits[place]
    return "".join(digits) + " g"
