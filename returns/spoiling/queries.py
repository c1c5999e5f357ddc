"""What was spoiled, by batch, step and cause, without what was taken back. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import QuerySet

from inventory.models import Spoiled, Step
from returns.models import ProductionBatch
from returns.spoiling import sums
from returns.spoiling.sums import StepYield

BATCHES_MAX = 40


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
