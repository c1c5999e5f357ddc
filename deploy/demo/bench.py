"""The bench in the scenario: from the parcel on the shelf to a frame posted or boxed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.contrib.auth.models import User

from deploy.demo.diary import Diary
from deploy.demo.failures import Broken
from deploy.demo.pans import Pans, typed
from inventory.ledger.queries import naming
from inventory.models import Part, Scale
from inventory.parts import queries as part_stock
from returns.arriving import rules as arriving
from returns.bench.queries.frames import whereabouts
from returns.catalogue import queries as catalogue
from returns.grading.rules import lookover
from returns.grading.sums import PolymerCheck
from returns.leaving import rules as posting_out
from returns.mending.rules import mending
from returns.models import (
    Component,
    Grading,
    JobStep,
    Parcel,
    RepairJob,
    Request,
    ReturnedFrame,
)
from returns.models.gradings import Outcome
from returns.regrind.rules import stripdown
from returns.story.sums.states import FrameState

HOUR = timedelta(hours=1)
DAY = timedelta(days=1)
OVERRULED = 0.04
SALVAGED = 0.25
# Days that a frame is held: for an answer of its sender, and for a part that does not come.
ANSWER_DAYS = (1, 6)
PART_DAYS = (6, 11)
# What the typed odds of the masters do not know: the bench learns it from its own outcomes.
LUCK = {"reshape-arm": 0.6, "close-groove": 0.8}


def _true_odds(step: JobStep) -> float:
    return LUCK.get(step.remedy.key, step.remedy.odds_ppm / 1_000_000)


@dataclass
class Bench:
    """Bea and Ben, their scales, and what they do with a parcel from day to day."""

    diary: Diary
    bea: User
    ben: User
    bench_scale: Scale
    fine_scale: Scale
    pans: Pans
    late: set[str]
    """Parts that the supplier does not send. Nobody thinks of keeping those of the frames that
    are stripped meanwhile, which is what matching donors to frames is there to change."""

    def receive(
        self, request: Request | None, contents: list[Broken], at: datetime, *, stranger: bool
    ) -> list[ReturnedFrame]:
        """Book a parcel and weigh in what is in it, the same day."""
        parcel = arriving.book(key=self.diary.key(), request=request, at=at, by=self.bea)
        frames = [
            self._weigh_in(
                parcel, request, broken, at + timedelta(minutes=12 * number), stranger=stranger
            )
            for number, broken in enumerate(contents, start=1)
        ]
        end = at + HOUR
        arriving.finish(key=self.diary.key(), parcel=parcel, at=end, by=self.bea)
        return frames

    def find_sender(self, frame: ReturnedFrame, request: Request, at: datetime) -> None:
        """Assign a frame whose customer rings about a parcel that came without its slip."""
        frame.refresh_from_db()
        if frame.request is None and frame.ended_at is None:
            arriving.assign(key=self.diary.key(), frame=frame, request=request, at=at, by=self.bea)

    def _weigh_in(
        self,
        parcel: Parcel,
        request: Request | None,
        broken: Broken,
        at: datetime,
        *,
        stranger: bool,
    ) -> ReturnedFrame:
        known = self.diary.random.random() < 0.8
        weigh = arriving.WeighIn(
            scale=self.bench_scale,
            mass=self.pans.read(broken.mass_mg, self.bench_scale),
            cleaned=True,
            colourway=None if stranger else broken.batch.colourway,
            batch=broken.batch if known and not stranger else None,
            is_stranger=stranger,
            request=request,
            # Asked for only where no frame of this model weighs so much.
            reason="Looked at by eye: it is as it came.",
        )
        frame = arriving.weigh_in(
            key=self.diary.key(), parcel=parcel, weighing=weigh, at=at, by=self.bea
        )
        wait = timedelta(days=self.diary.random.randint(0, 3), hours=2)
        self.diary.at(at + wait, lambda moment: self._look(frame, broken, moment, stranger))
        return frame

    def _look(self, frame: ReturnedFrame, broken: Broken, at: datetime, stranger: bool) -> None:
        polymer = PolymerCheck.FOREIGN if stranger else PolymerCheck.OURS
        look = lookover.Look(findings=broken.findings, polymer=polymer)
        frame.refresh_from_db()
        grading = lookover.grade(key=self.diary.key(), frame=frame, look=look, at=at, by=self.bea)
        if grading.computed == Outcome.REPAIR and frame.wish == "regrind":
            self._second_thought(frame, at + timedelta(minutes=4))
        self._next(frame, broken, at)

    def _second_thought(self, frame: ReturnedFrame, at: datetime) -> None:
        """Overrule now and then, where the hand knows better than the sums."""
        if self.diary.random.random() < OVERRULED:
            lookover.overrule(
                key=self.diary.key(),
                frame=frame,
                outcome=Outcome.REGRIND.value,
                reason="Brittle all over: it would break elsewhere next.",
                at=at,
                by=self.ben,
            )

    def _next(self, frame: ReturnedFrame, broken: Broken, at: datetime) -> None:
        frame.refresh_from_db()
        wait = timedelta(days=self.diary.random.randint(1, 6), hours=1)
        if frame.state == FrameState.TO_MEND:
            self.diary.at(at + wait, lambda moment: self._mend(frame, broken, moment))
        elif frame.state == FrameState.TO_STRIP:
            self.diary.at(at + wait, lambda moment: self._strip(frame, broken, moment))
        elif frame.state == FrameState.TO_RETURN:
            self.diary.at(at + wait, lambda moment: self._post(frame, moment))
        elif frame.state == FrameState.HELD and frame.is_stranger:
            self.diary.at(at + 10 * DAY, lambda moment: self._discard(frame, moment))
        elif frame.state == FrameState.HELD:
            days = self.diary.random.randint(*(PART_DAYS if frame.wish else ANSWER_DAYS))
            later = at + timedelta(days=days)
            self.diary.at(later, lambda moment: self._resolve(frame, broken, moment))

    def _resolve(self, frame: ReturnedFrame, broken: Broken, at: datetime) -> None:
        """Go on with a held frame: nobody knows yet whose it is, or a part is lacking.

        Once its story is found or its part has come it is looked over again; else it is given
        up, or waits on if it is to go back.
        """
        frame.refresh_from_db()
        if frame.state != FrameState.HELD:
            return
        if frame.wish and _has_come(frame.gradings.order_by("-at", "-pk")[0]):
            self._look(frame, broken, at, stranger=False)
        elif frame.wish == "regrind":
            self._give_up(frame, broken, at)
        else:
            later = at + 3 * DAY
            self.diary.at(later, lambda moment: self._resolve(frame, broken, moment))

    def _may_be_ground(self, frame: ReturnedFrame, evidence: str, at: datetime) -> None:
        lookover.record_wish(
            key=self.diary.key(), frame=frame, wish="regrind", evidence=evidence, at=at, by=self.bea
        )
        frame.refresh_from_db()

    def _give_up(self, frame: ReturnedFrame, broken: Broken, at: datetime) -> None:
        lookover.overrule(
            key=self.diary.key(),
            frame=frame,
            outcome=Outcome.REGRIND.value,
            reason="Parts will not come before the promised day.",
            at=at,
            by=self.ben,
        )
        self._next(frame, broken, at)

    def _discard(self, frame: ReturnedFrame, at: datetime) -> None:
        """Discard a stranger's frame whose sender rings and lets it go; it never enters a box."""
        frame.refresh_from_db()
        self._may_be_ground(frame, lookover.Evidence.PHONE.value, at)
        stripdown.discard_foreign(
            key=self.diary.key(),
            frame=frame,
            reason="Not ours: another maker's frame.",
            at=at,
            by=self.ben,
        )

    def _mend(self, frame: ReturnedFrame, broken: Broken, at: datetime) -> None:
        frame.refresh_from_db()
        # Days lie between the writing and the doing: the frame may have gone another way since.
        if frame.state != FrameState.TO_MEND:
            return
        job = mending.open_job(key=self.diary.key(), frame=frame, at=at, by=self.bea)
        moment = self._steps(job, at)
        # A mend is as good as its weakest step: one draw decides, not one for each.
        weakest = min(job.steps.select_related("remedy"), key=_true_odds, default=None)
        works = weakest is None or self.diary.random.random() < _true_odds(weakest)
        is_front = weakest is not None and weakest.remedy.component_kind in ("front", "lens")
        check = mending.Check(
            closes_freely=works or is_front,
            screw_flush=True,
            lens_held=works or not is_front,
            no_sharp_edge=True,
        )
        blamed = None if check.passed else weakest
        mending.check(
            key=self.diary.key(), job=job, check=check, blamed=blamed, at=moment, by=self.bea
        )
        if works:
            self._weigh_out(frame, job, moment + timedelta(minutes=5))
        else:
            mending.give_up(
                key=self.diary.key(),
                job=job,
                reason="Does not close after mending.",
                at=moment,
                by=self.bea,
            )
            frame.refresh_from_db()
            if frame.state == FrameState.TO_STRIP:
                self.diary.at(moment + DAY, lambda later: self._strip(frame, broken, later))
            else:
                self.diary.at(moment + DAY, lambda later: self._post(frame, later))

    def _steps(self, job: RepairJob, at: datetime) -> datetime:
        for step in job.steps.select_related("remedy"):
            spread = self.diary.random.uniform(0.7, 1.5)
            minutes = max(1, round(step.remedy.minutes * spread))
            used = mending.planned_parts(step)
            at += timedelta(minutes=minutes)
            mending.do_step(
                key=self.diary.key(),
                job=job,
                step=step,
                minutes=minutes,
                parts_used=used,
                scanned=[naming.bin_code(code) for code in used],
                at=at,
                by=self.bea,
            )
        return at

    def _weigh_out(self, frame: ReturnedFrame, job: RepairJob, at: datetime) -> None:
        # What the books hold is a reading of this very scale: its own error is in it already.
        on_bench_mg = on_bench_or_shelf_mg(frame) + round(self.diary.random.gauss(0, 2.5))
        mending.weigh_out(
            key=self.diary.key(),
            job=job,
            scale=self.bench_scale,
            mass=typed(on_bench_mg, self.bench_scale),
            at=at,
            by=self.bea,
        )
        self.diary.at(at + DAY, lambda moment: self._post(frame, moment))

    def _post(self, frame: ReturnedFrame, at: datetime) -> None:
        frame.refresh_from_db()
        if frame.request is None:
            self.diary.at(at + 3 * DAY, lambda later: self._post(frame, later))
            return
        posting_out.post_frame(
            key=self.diary.key(), frame=frame, scanned=frame.tag, at=at, by=self.ben
        )

    def _strip(self, frame: ReturnedFrame, broken: Broken, at: datetime) -> None:
        frame.refresh_from_db()
        if frame.state != FrameState.TO_STRIP:
            return
        if frame.colourway is None:
            return
        bill = catalogue.bill_of(frame.colourway)
        pieces = [made.piece for made in bill.values()]
        masses = self._taken_apart(frame, broken, pieces)
        salvaged = self._salvaged(broken, pieces)
        # Kept arms are plastic that does not go into the box.
        kept_mg = sum(piece.pieces * piece.part.nominal_mg for piece in salvaged)
        _main, *others = catalogue.heaps(frame.colourway, bill)
        read, fine = self.pans.read, self.fine_scale
        others_mg = {
            # Arms are the only other material in this story: what is kept of them is not ground.
            heap.material.colour: sum(broken.masses.get(key, 0) for key in heap.keys) - kept_mg
            for heap in others
        }
        plastic_mg = masses["plastic"] - kept_mg - sum(others_mg.values())
        heaps = tuple(
            stripdown.Heap(of=(one,), into=one, mass=read(mass_mg, fine), field=f"heap-{one.code}")
            for one, mass_mg in others_mg.items()
            if mass_mg > 0
        )
        stripped = stripdown.strip(
            key=self.diary.key(),
            frame=frame,
            parts=stripdown.StripDown(
                scale=fine,
                plastic=read(plastic_mg, fine),
                heaps=heaps,
                lenses=read(masses["lens"], fine) if masses["lens"] else "",
                metal=read(masses["screw"], fine) if masses["screw"] else "",
                salvaged=salvaged,
            ),
            at=at,
            by=self.ben,
        )
        for heap in stripped.heaps.select_related("box__colour"):
            colour = heap.box.colour
            other_mg = others_mg.get(colour) if colour is not None else None
            self.pans.put(heap.box, plastic_mg if other_mg is None else other_mg)
        if frame.lenses_back and frame.request is not None:
            self.diary.at(at + DAY, lambda moment: self._post_lenses(frame, moment))

    def _post_lenses(self, frame: ReturnedFrame, at: datetime) -> None:
        frame.refresh_from_db()
        posting_out.post_lenses(
            key=self.diary.key(), frame=frame, scanned=frame.tag, at=at, by=self.ben
        )

    def _salvaged(self, broken: Broken, bill: list[Component]) -> tuple[stripdown.Salvaged, ...]:
        """Keep a sound arm for the next repair, sometimes."""
        touched = {one.component for one in broken.findings}
        sound = [piece for piece in bill if piece.kind == "arm" and piece.key not in touched]
        part = sound[0].part if sound else None
        if part is None or part.code in self.late or self.diary.random.random() > SALVAGED:
            return ()
        mass = self.pans.read(len(sound) * part.nominal_mg, self.fine_scale)
        return (stripdown.Salvaged(part=part, pieces=len(sound), mass=mass),)

    def _taken_apart(
        self, frame: ReturnedFrame, broken: Broken, bill: list[Component]
    ) -> dict[str, int]:
        """Return true mg by kind, with a crumb lost. A frame that was mended in between has other
        arms than it came with: its plastic is the rest of what the books hold."""
        kinds = {piece.key: piece.kind for piece in bill}
        lens = broken.mass_of_mg(kinds, "lens")
        screw = broken.mass_of_mg(kinds, "screw")
        plastic = broken.mass_of_mg(kinds, "front", "arm")
        if frame.jobs.exists():
            plastic = on_bench_or_shelf_mg(frame) - lens - screw
        crumb = self.diary.random.randint(0, 6)
        return {"plastic": plastic - crumb, "lens": lens, "screw": screw}


def _has_come(grading: Grading) -> bool:
    """Tell whether the free pieces now suffice for what a grading lacked."""
    missing = (grading.sums.get("plan") or {}).get("missing") or {}
    parts = Part.objects.filter(code__in=missing)
    return all(part_stock.available(part) >= missing[part.code] for part in parts)


def on_bench_or_shelf_mg(frame: ReturnedFrame) -> int:
    """Return what the ledger says this frame weighs in mg, wherever in the house it lies."""
    return sum(whereabouts(frame.tag).values())


def restock(part: Part) -> int:
    """Return how many pieces one order of a part brings."""
    return part.pack_size * (2 if part.screw_size else 1)
