"""Flake out per mass in of each grind run of returns, in the order in which they ended."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime

from inventory.models import GrindRun, Origin, Posting
from returns.queries.judged import Missing
from returns.queries.span import Span
from returns.sums.claims import NotEnoughEvidence
from returns.sums.run_chart import RunChart, run_chart


@dataclass(frozen=True, slots=True, kw_only=True)
class RunYield:
    """One run: what it took from the box, what flake it gave (mg), and their ratio."""

    code: str
    finished_at: datetime
    ground_mg: int
    flake_mg: int

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
    """Finished runs of own returns in a span, whole workshop. Two questions to the database."""
    rows = GrindRun.objects.filter(
        span.holds("finished_at"), state=GrindRun.State.FINISHED, lot__origin=Origin.RETURN
    ).order_by("finished_at", "pk")
    ended = list(rows.values_list("code", "finished_at"))
    masses = _masses([code for code, _at in ended])
    runs = tuple(
        RunYield(code=code, finished_at=at, ground_mg=masses[code][0], flake_mg=masses[code][1])
        for code, at in ended
        if at is not None and masses[code][0] > 0
    )
    try:
        chart = run_chart([run.share for run in runs], low_min=0.0, high_max=1.0)
    except NotEnoughEvidence as error:
        missing = Missing(of=error.of, have=error.have, need=error.need)
        return GrindYields(runs=runs, chart=None, missing=missing)
    return GrindYields(runs=runs, chart=chart, missing=None)


def _masses(codes: list[str]) -> dict[str, tuple[int, int]]:
    """Per run: box mass taken less what was found in excess, and flake, reversals taken back."""
    rows = Posting.objects.filter(movement__kind="grind", movement__subject__in=codes)
    taken: defaultdict[str, int] = defaultdict(int)
    flake: defaultdict[str, int] = defaultdict(int)
    for code, reverses, source, target, mass_mg in rows.order_by().values_list(
        "movement__subject", "movement__reverses", "source__kind", "target__kind", "quantity"
    ):
        sign = 1 if reverses is None else -1
        first, last = (source, target) if reverses is None else (target, source)
        taken[code] += sign * mass_mg * ((first == "box") - (last == "box"))
        flake[code] += sign * mass_mg * (last == "lot")
    return {code: (taken[code], flake[code]) for code in codes}
