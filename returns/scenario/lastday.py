"""The last hour of the scenario: a bin of arms is empty, and a frame that could help has come in.

It leaves one match for the salvage page to show, whatever day the story is told.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from inventory import stock
from inventory.models import Part
from returns import arrivals, intake, lookover
from returns.gradingfacts import Seen
from returns.models import Colourway, ReturnedFrame
from returns.scenario.bench import Bench, typed
from returns.sums.grading import PolymerCheck

MODEL = "godwit"
Filer = Callable[[Colourway, str, str], intake.Filing]


@dataclass(frozen=True, slots=True)
class LastHour:
    """Bea alone at the bench, an hour before the story stops."""

    bench: Bench
    filing: Filer
    now: datetime

    def tell(self) -> None:
        """A frame that lacks its left arm, and one whose left arm is sound."""
        colourway = Colourway.objects.filter(model__code=MODEL).order_by("colour__code")[0]
        arm = Part.objects.get(code=f"arm-{MODEL}")
        self._throw_away_the_rest(arm, self.now - timedelta(minutes=50))
        self._arrive(colourway, Seen("arm_left", "snapped"), self.now - timedelta(minutes=40))
        self._arrive(colourway, Seen("front", "snapped"), self.now - timedelta(minutes=20))

    def _throw_away_the_rest(self, arm: Part, at: datetime) -> None:
        """What is promised to a frame stays; the free ones turn out cracked."""
        if stock.available(arm):
            stock.count(
                key=self.bench.diary.key(),
                part=arm,
                counted=stock.promised(arm),
                reason="Cracked in the bin: thrown away.",
                at=at,
                actor=self.bench.bea,
            )

    def _arrive(self, colourway: Colourway, seen: Seen, at: datetime) -> ReturnedFrame:
        diary, bea, scale = self.bench.diary, self.bench.bea, self.bench.bench_scale
        filing = self.filing(colourway, seen.component, seen.defect)
        request = intake.file_return(key=diary.key(), filing=filing, at=at - timedelta(days=6))
        parcel = arrivals.book(key=diary.key(), request=request, at=at, by=bea)
        whole_mg = sum(piece.nominal_mg for piece in colourway.model.components.all())
        weighing = arrivals.WeighIn(
            scale=scale,
            mass=typed(whole_mg, scale),
            cleaned=True,
            colourway=colourway,
            request=request,
        )
        at += timedelta(minutes=5)
        frame = arrivals.weigh_in(key=diary.key(), parcel=parcel, weighing=weighing, at=at, by=bea)
        arrivals.finish(key=diary.key(), parcel=parcel, at=at, by=bea)
        look = lookover.Look(findings=[seen], polymer=PolymerCheck.OURS)
        at += timedelta(minutes=5)
        lookover.grade(key=diary.key(), frame=frame, look=look, at=at, by=bea)
        return frame
