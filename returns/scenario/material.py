"""Material in the scenario: pots come in, boxes are ground, flake is moulded, scrap comes back."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

from django.contrib.auth.models import User

from inventory import grinding, material, stock
from inventory.models import Colour, GrindRun, Lot, Origin, Part, Place, PlaceKind, Polymer, Scale
from inventory.queries import boxes
from inventory.sums import heat
from returns import batches, kits, regrind
from returns.models import Colourway, ProductionBatch
from returns.scenario.bench import LATE_PART, restock, typed
from returns.scenario.diary import Diary

GRIND_FROM_MG = 60_000
PIECE_MG = 22_500


@dataclass
class Yard:
    """The back of the workshop: boxes, mill, lots and moulding."""

    diary: Diary
    bea: User
    ben: User
    fine_scale: Scale
    box_scale: Scale
    polymer: Polymer
    delivered: set[str] = field(default_factory=set)

    def buy_pots(self, colour: Colour, mass_mg: int, at: datetime) -> None:
        """Shredded nursery pots of one colour, collected by the workshop, into their box."""
        pots = material.Material(
            polymer=self.polymer,
            colour=colour,
            origin=Origin.FEEDSTOCK,
            heat=heat.of_passes(1),
            note="Nursery pots, collected",
            cost_minor=mass_mg * 140 // 1_000_000,
        )
        weighing = material.Weighing(scale=self.box_scale, mass=typed(mass_mg, self.box_scale))
        material.receive_to_box(
            key=self.diary.key(), material=pots, weighing=weighing, at=at, by=self.bea
        )

    def grind_what_is_full(self, at: datetime) -> None:
        """Every box worth a run is proposed by Bea, confirmed by Ben and ground."""
        for box in Place.objects.filter(kind=PlaceKind.BOX).order_by("code"):
            if boxes.contents(box).mass_mg >= GRIND_FROM_MG:
                at += timedelta(minutes=50)
                self._grind(box, at)

    def _grind(self, box: Place, at: datetime) -> None:
        run = grinding.propose(key=self.diary.key(), box=box, at=at, by=self.bea)
        run = grinding.confirm(
            key=self.diary.key(),
            run=run,
            seen_mg=run.box_mg,
            at=at + timedelta(minutes=5),
            by=self.ben,
        )
        out = self._milled(run)
        run = regrind.finish(
            key=self.diary.key(), run=run, out=out, at=at + timedelta(minutes=35), by=self.ben
        )
        if run.state == GrindRun.State.HELD:
            regrind.explain(
                key=self.diary.key(),
                run=run,
                explanation="Chamber was not empty after the colour change; swept and weighed.",
                at=at + timedelta(minutes=45),
                by=self.ben,
            )

    def _milled(self, run: GrindRun) -> grinding.GrindOut:
        chance = self.diary.random
        share = chance.uniform(0.012, 0.03) if chance.random() > 0.12 else 0.075
        dust_mg = int(run.box_mg * share * 0.6)
        purge_mg = int(run.box_mg * share * 0.3)
        scale = self.box_scale if run.box_mg > 200_000 else self.fine_scale
        flake_mg = run.box_mg - int(run.box_mg * share)
        return grinding.GrindOut(
            scale=scale,
            fine_scale=self.fine_scale,
            flake=typed(flake_mg, scale),
            dust=typed(dust_mg, self.fine_scale),
            purge=typed(purge_mg, self.fine_scale),
            minutes=20 + run.box_mg // 60_000,
            colour_change=purge_mg > 0,
            melt_flow_mg_per_10min=chance.randrange(9_000, 15_000, 100),
            melt_flow_tolerance_mg=600,
        )

    def mould(self, colourway: Colourway, code: str, pieces: int, at: datetime) -> None:
        """Issue flake of the colour, oldest lots first, and mould a batch; scrap comes back."""
        wanted_mg = pieces * PIECE_MG
        taken = self._oldest_first(colourway.colour, wanted_mg)
        if not taken:
            return
        issue = material.issue(
            key=self.diary.key(),
            lots={lot: typed(mass_mg, self.box_scale) for lot, mass_mg in taken.items()},
            batch_code=code,
            scale=self.box_scale,
            at=at,
            by=self.bea,
        )
        got_mg = sum(posting.quantity for posting in issue.postings.all())
        scrap_mg = int(got_mg * self.diary.random.uniform(0.09, 0.14))
        made = max(1, (got_mg - scrap_mg) // (PIECE_MG - 4_000))
        batch = batches.mould(
            key=self.diary.key(),
            colourway=colourway,
            code=code,
            made_on=at.date(),
            pieces=min(pieces, made),
            issues=[issue],
            at=at + timedelta(hours=5),
            by=self.bea,
        )
        self._scrap(batch, scrap_mg, at + timedelta(hours=6))

    def _scrap(self, batch: ProductionBatch, mass_mg: int, at: datetime) -> None:
        spread = heat.HeatSpread.from_list(batch.heat)
        runners = material.Material(
            polymer=self.polymer,
            colour=batch.colourway.colour,
            origin=Origin.IN_PROCESS,
            heat=spread,
            note=batch.code,
        )
        weighing = material.Weighing(scale=self.box_scale, mass=typed(mass_mg, self.box_scale))
        material.return_scrap(
            key=self.diary.key(), material=runners, weighing=weighing, at=at, by=self.bea
        )

    def _oldest_first(self, colour: Colour, wanted_mg: int) -> dict[Lot, int]:
        step = self.box_scale.division_mg
        taken: dict[Lot, int] = {}
        for lot in Lot.objects.filter(colour=colour).order_by("made_at", "code"):
            there_mg = boxes.held_mg(lot.place) // step * step
            if there_mg >= step and wanted_mg >= step:
                taken[lot] = min(there_mg, wanted_mg // step * step)
                wanted_mg -= taken[lot]
        return taken

    def order_parts(self, at: datetime) -> None:
        """Bring every part below its reorder level up by an order, and serve who waited."""
        for part in Part.objects.order_by("code"):
            is_late = part.code == LATE_PART and part.code in self.delivered
            if stock.available(part) < part.reorder_level and not is_late:
                pieces = restock(part)
                self.delivered.add(part.code)
                stock.receive(
                    key=self.diary.key(),
                    part=part,
                    pieces=pieces,
                    cost_minor=pieces * part.price_minor,
                    at=at,
                    actor=self.bea,
                )
        kits.reserve_waiting(at)

    def sweep_up(self, at: datetime) -> None:
        """Bags with less than a gram left are thrown out and counted as empty."""
        for lot in Lot.objects.all():
            if 0 < boxes.held_mg(lot.place) < self.box_scale.division_mg:
                weighing = material.Weighing(scale=self.box_scale, mass="0")
                material.count(
                    key=self.diary.key(),
                    place=lot.place,
                    weighing=weighing,
                    reason="The bag is empty",
                    at=at,
                    by=self.bea,
                )

    def count_a_box(self, at: datetime) -> None:
        """A stock count at the end of a month: the fullest lot is put on the scale."""
        lots = sorted(Lot.objects.all(), key=lambda lot: -boxes.held_mg(lot.place))
        if not lots or boxes.held_mg(lots[0].place) < 50_000:
            return
        seen_mg = boxes.held_mg(lots[0].place) - 1_000
        weighing = material.Weighing(scale=self.box_scale, mass=typed(seen_mg, self.box_scale))
        material.count(
            key=self.diary.key(),
            place=lots[0].place,
            weighing=weighing,
            reason="Month-end stock count",
            at=at,
            by=self.ben,
        )
