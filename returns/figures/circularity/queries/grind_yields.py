"""Flake out per mass in of each grind run of returns, in the order in which they ended.

The ± of a run is that of the readings of its flake and of what lay in its box.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q

from inventory.models import GrindRun, Origin, PlaceKind, Posting
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings
from returns.figures.circularity.queries.judged import Missing
from returns.figures.circularity.sums.run_chart import RunChart, run_chart
from returns.figures.claims.sums.claims import NotEnoughEvidence
from returns.figures.span.queries import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class RunYield:
    """One run: what it took from the box, what flake it gave (mg), and their ratio.

    `expanded` is k = 2 of the ratio, None where no reading supports a part of either mass.
    """

    code: str
    finished_at: datetime
    ground_mg: int
    flake_mg: int
    ground_known: MassUncertainty
    flake_known: MassUncertainty
    expanded: float | None

    @property
    def share(self) -> float:
        return self.flake_mg / self.ground_mg


@dataclass(frozen=True, slots=True, kw_only=True)
class GrindYields:
    """The runs, and the chart of their yields; or how many runs are missing for one."""

    runs: tuple[RunYield, ...]
    chart: RunChart | None
    missing: Missing | None

    @property
    def outside(self) -> tuple[RunYield, ...]:
        return tuple(run for run in self.runs if self.chart and self.chart.is_outside(run.share))


def grind_yields(span: Span) -> GrindYields:
    """Return finished runs of own returns in a span, whole workshop. Two questions in all."""
    rows = GrindRun.objects.filter(
        span.holds("finished_at"), state=GrindRun.State.FINISHED, lot__origin=Origin.RETURN
    ).order_by("finished_at", "pk")
    ended = list(rows.values_list("code", "finished_at", "box"))
    masses = _masses(span, {box for _code, _at, box in ended})
    runs = tuple(
        _run(code, at, *masses[code])
        for code, at, _box in ended
        # A run whose postings were all reversed ground nothing: it has no yield, not one of zero.
        if at is not None and code in masses and masses[code][0].mass_mg > 0
    )
    try:
        chart = run_chart([run.share for run in runs], low_min=0.0, high_max=1.0)
    except NotEnoughEvidence as error:
        return GrindYields(runs=runs, chart=None, missing=Missing.because(error))
    return GrindYields(runs=runs, chart=chart, missing=None)


def _run(code: str, at: datetime, ground: MassWithReadings, flake: MassWithReadings) -> RunYield:
    """Return a run. With y = flake / ground, dy = (ground d flake - flake d ground) / ground².

    Source: JCGM 100:2008 (GUM), 5.1.2, from memory.
    """
    ground_mg, flake_mg = ground.mass_mg, flake.mass_mg
    crossed = flake.times(ground_mg).less(ground.times(flake_mg)).known()
    expanded = crossed.expanded_ug / 1000 / ground_mg**2
    is_weighed = not ground.known().booked_mg and not flake.known().booked_mg
    return RunYield(
        code=code,
        finished_at=at,
        ground_mg=ground_mg,
        flake_mg=flake_mg,
        ground_known=ground.known(),
        flake_known=flake.known(),
        expanded=expanded if is_weighed else None,
    )


def _masses(span: Span, boxes: set[int]) -> dict[str, tuple[MassWithReadings, MassWithReadings]]:
    """Return per run the box mass taken, less what was found in excess, and the flake, net.

    A box's own postings tell all of it. What was booked late stands in a later month.
    """
    rows = Posting.objects.filter(Q(source__in=boxes) | Q(target__in=boxes))
    found: dict[str, tuple[MassWithReadings, MassWithReadings]] = {}
    # An empty set of boxes would still be asked of the database, and match nothing.
    for entry, mass in traced.stretch(rows, span.labels[0]).moved if boxes else ():
        if entry.kind != "grind":
            continue
        ends = (entry.source.kind, entry.target.kind)
        source, target = ends if entry.sign > 0 else ends[::-1]
        ground, flake = found.setdefault(entry.subject, (MassWithReadings(), MassWithReadings()))
        ground.add(mass, entry.sign * ((source == PlaceKind.BOX) - (target == PlaceKind.BOX)))
        flake.add(mass, entry.sign * (target == PlaceKind.LOT))
    return found
