"""The last hours of the scenario: the bench as a newcomer finds it, whatever day the story ends.

Parcels to open, kits to post, a frame without a slip, a job half mended, a grind run that waits for
its second person; and a bin of arms that is empty, with a frame that could help two others.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from deploy.demo.bench import Bench
from deploy.demo.market import Market
from deploy.demo.pans import typed
from inventory.ledger.queries import naming
from inventory.material.queries import boxes
from inventory.material.rules import grinding
from inventory.models import Origin, Part, Place, PlaceKind
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.arriving import rules as arriving
from returns.filing.rules import intake
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.sums import PolymerCheck
from returns.mending.rules import mending
from returns.models import Colourway, Request, ReturnedFrame
from returns.story.sums.states import FrameState

MODEL = "godwit"


@dataclass(frozen=True, slots=True)
class LastHours:
    """Bea alone at the bench on the last morning."""

    bench: Bench
    market: Market
    now: datetime

    def tell(self) -> None:
        """Do everything in its order, each so many minutes before the end."""
        avocet = self._way("avocet")
        self._match()
        self._weigh_in(avocet, None, self._before(120))
        for minutes, model in ((110, "avocet"), (95, "godwit"), (70, "dunlin")):
            self.market.ask_for_screw(self._way(model), self._before(minutes))
        self._propose_run(self._before(90))
        self._mend_half(avocet, self._before(80))
        for minutes, model in ((45, "dunlin"), (44, "avocet"), (43, "godwit")):
            self._unopened(self._way(model), self._before(minutes))

    def _before(self, minutes: int) -> datetime:
        return self.now - timedelta(minutes=minutes)

    def _way(self, model: str) -> Colourway:
        return next(way for (code, _colour), way in self.market.ways.items() if code == model)

    def _match(self) -> None:
        """Bring a frame that lacks both arms, two that lack one each, and one whose arms are sound.

        Whoever comes first would take both arms; matched, they help two frames.
        """
        godwit = self._way(MODEL)
        self._throw_away_the_rest(Part.objects.get(code=f"arm-{MODEL}"), self._before(230))
        left, right = Seen("arm_left", "snapped"), Seen("arm_right", "snapped")
        # The frame that lacks both comes first: served in order of arrival, it would take both
        # arms.
        for minutes, seen in (
            (220, [left, right]),
            (200, [left]),
            (180, [right]),
            (140, [Seen("front", "snapped")]),
        ):
            self._look_over(godwit, seen, self._before(minutes))

    def _throw_away_the_rest(self, arm: Part, at: datetime) -> None:
        """Throw away the free arms, found cracked; what is promised to a frame stays."""
        if part_stock.available(arm):
            stock.count(
                key=self.bench.diary.key(),
                part=arm,
                counted=part_stock.promised(arm),
                reason="Cracked in the bin: thrown away.",
                at=at,
                actor=self.bench.bea,
            )

    def _mend_half(self, way: Colourway, at: datetime) -> None:
        """Leave a frame on the bench with two things to do on it, and one of them done."""
        seen = [Seen("arm_left", "warped"), Seen("front", "scuffed")]
        frame = self._look_over(way, seen, at)
        if frame.state != FrameState.TO_MEND:
            return
        key, bea = self.bench.diary.key, self.bench.bea
        job = mending.open_job(key=key(), frame=frame, at=at + timedelta(minutes=15), by=bea)
        step = job.steps.order_by("pk")[0]
        used = mending.planned_parts(step)
        mending.do_step(
            key=key(),
            job=job,
            step=step,
            minutes=step.remedy.minutes,
            parts_used=used,
            scanned=[naming.bin_code(code) for code in used],
            at=at + timedelta(minutes=25),
            by=bea,
        )

    def _propose_run(self, at: datetime) -> None:
        """Propose the fullest box of returns, else of own scrap; Ben has yet to look at it."""
        for origin in (Origin.RETURN, Origin.IN_PROCESS):
            rows = Place.objects.filter(kind=PlaceKind.BOX, origin=origin).order_by("code")
            fullest = max(rows, key=boxes.held_mg, default=None)
            if fullest is not None and boxes.held_mg(fullest):
                key = self.bench.diary.key()
                grinding.propose(key=key, box=fullest, at=at, by=self.bench.bea)
                return

    def _request(self, way: Colourway, seen: Seen, at: datetime) -> Request:
        filing = self.market.filing(way, seen.component, seen.defect, wish="regrind")
        return intake.file_return(key=self.bench.diary.key(), filing=filing, at=at)

    def _unopened(self, way: Colourway, at: datetime) -> None:
        request = self._request(way, Seen("arm_right", "snapped"), at - timedelta(days=4))
        key = self.bench.diary.key()
        arriving.book(key=key, request=request, at=at, by=self.bench.bea)

    def _look_over(self, way: Colourway, seen: list[Seen], at: datetime) -> ReturnedFrame:
        request = self._request(way, seen[0], at - timedelta(days=6))
        frame = self._weigh_in(way, request, at)
        look = lookover.Look(findings=seen, polymer=PolymerCheck.OURS)
        at += timedelta(minutes=10)
        key = self.bench.diary.key()
        lookover.grade(key=key, frame=frame, look=look, at=at, by=self.bench.bea)
        frame.refresh_from_db()
        return frame

    def _weigh_in(self, way: Colourway, request: Request | None, at: datetime) -> ReturnedFrame:
        diary, bea, scale = self.bench.diary, self.bench.bea, self.bench.bench_scale
        parcel = arriving.book(key=diary.key(), request=request, at=at, by=bea)
        whole_mg = sum(piece.nominal_mg for piece in self.market.bills[way.model_id])
        weighing = arriving.WeighIn(
            scale=scale, mass=typed(whole_mg, scale), cleaned=True, colourway=way, request=request
        )
        at += timedelta(minutes=5)
        frame = arriving.weigh_in(key=diary.key(), parcel=parcel, weighing=weighing, at=at, by=bea)
        arriving.finish(key=diary.key(), parcel=parcel, at=at, by=bea)
        return frame
