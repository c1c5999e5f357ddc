"""What was spoiled, by batch, step and cause, without what was taken back. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from inventory.material.sums.heat import HeatSpread
from inventory.models import Spoiled, Step
from returns.figures.circularity.sums.circularity import ShareInterval, counted_share
from returns.models import ProductionBatch
from returns.spoiling import sums
from returns.spoiling.sums import StepYield

BATCHES_MAX = 40
BEST_MAX = 5


def standing(codes: Sequence[str]) -> QuerySet[Spoiled]:
    """Return what was spoiled of some batches and not taken back."""
    rows = Spoiled.objects.filter(batch_code__in=codes, posting__movement__reversed_by=None)
    return rows.order_by("pk")


def by_step(code: str) -> Counter[str]:
    """Return the spoiled pairs of a batch by step."""
    found: Counter[str] = Counter()
    for step, pieces in standing([code]).values_list("step", "pieces"):
        found[step] += pieces
    return found


@dataclass(frozen=True, slots=True)
class BatchYield:
    """A batch with its yields by step; `rolled` is their product, `spoiled` all its pairs lost."""

    batch: ProductionBatch
    steps: tuple[StepYield, ...]
    rolled: float

    @property
    def begun(self) -> int:
        return self.steps[0].entered

    @property
    def spoiled(self) -> int:
        return sum(step.spoiled for step in self.steps)


@dataclass(frozen=True, slots=True)
class Overview:
    """The newest batches in the order of their making, and their causes, most pairs first."""

    batches: tuple[BatchYield, ...]
    causes: tuple[sums.Cause, ...]
    grams_mg: dict[tuple[str, str], int]
    chart: sums.Proportions | None


def overview() -> Overview:
    """Return the newest batches that have anything spoiled noted, in a few questions for all."""
    noted = Spoiled.objects.filter(posting__movement__reversed_by=None).values("batch_code")
    rows = ProductionBatch.objects.filter(code__in=noted, pieces__gte=1)
    newest = rows.select_related("colourway__model", "colourway__colour")[:BATCHES_MAX]
    batches = list(reversed(newest))
    spoiled: dict[str, Counter[str]] = {batch.code: Counter() for batch in batches}
    pieces: Counter[tuple[str, str]] = Counter()
    grams: Counter[tuple[str, str]] = Counter()
    for row in standing(list(spoiled)).select_related("posting"):
        spoiled[row.batch_code][row.step] += row.pieces
        pieces[row.step, row.cause] += row.pieces
        grams[row.step, row.cause] += row.posting.quantity
    found = [_yield(batch, spoiled[batch.code]) for batch in batches]
    chart = sums.proportions([(one.spoiled, one.begun) for one in found])
    return Overview(tuple(found), tuple(sums.in_order(pieces)), dict(grams), chart)


def _yield(batch: ProductionBatch, spoiled: Counter[str]) -> BatchYield:
    steps = sums.step_yields(Step.values, spoiled, good_after_first=batch.pieces)
    return BatchYield(batch, tuple(steps), sums.rolled(steps) or 0.0)


@dataclass(frozen=True, slots=True)
class Alike:
    """A batch of the same material with its yield: the share of begun pairs that came through all
    steps, with its interval (Wilson, 95 %)."""

    made: BatchYield
    interval: ShareInterval


def best_alike(batch: ProductionBatch) -> list[Alike]:
    """Return the batches of the same main material and as many heat passes, in whole ones, that
    have settings noted and something spoiled, those with the best yield first."""
    look, passes = batch.colourway, _passes(batch)
    noted = Spoiled.objects.filter(posting__movement__reversed_by=None).values("batch_code")
    told = Q(mould_temperature_c__isnull=False) | Q(melt_temperature_c__isnull=False)
    told |= Q(force_n__isnull=False) | Q(press_time_s__isnull=False)
    rows = ProductionBatch.objects.filter(
        told,
        code__in=noted,
        pieces__gte=1,
        colourway__polymer=look.polymer_id,
        colourway__colour=look.colour_id,
    )
    newest = rows.select_related("colourway__model", "colourway__colour")[:BATCHES_MAX]
    alike = [one for one in newest if _passes(one) == passes]
    spoiled: dict[str, Counter[str]] = {one.code: Counter() for one in alike}
    for code, step, pieces in standing(list(spoiled)).values_list("batch_code", "step", "pieces"):
        spoiled[code][step] += pieces
    found = [_yield(one, spoiled[one.code]) for one in alike]
    rated = [
        Alike(one, counted_share(count=one.begun - one.spoiled, of=one.begun)) for one in found
    ]
    # By the lower limit: nine of ten tell less than ninety of a hundred.
    return sorted(rated, key=lambda one: -one.interval.low)[:BEST_MAX]


def _passes(batch: ProductionBatch) -> int:
    return round(HeatSpread.from_list(batch.heat).mean_passes)
