"""Which batch of a model breaks sooner than its others, at which component, and what it costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from statistics import fmean

from inventory.months.sums.calendar_month import Month
from returns.figures.design import sums
from returns.figures.design.sums import AgeRow
from returns.figures.lifetimes.queries.lifetimes import by_component
from returns.figures.span.queries import Scope, index
from returns.models import FrameModel, Grading, ProductionBatch
from returns.models.catalogue import ComponentKey

ANY = ""
"""Stands for every component together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Compared:
    """One batch against the others of its model, at one component.

    `excess` is how many failures more than the others would have had; `excess_mg` and
    `excess_minor` are what those came to, by the mean of this model's frames. `is_marked` says that
    it stands out after all corrections.
    """

    batch: str
    component: str
    sold: int
    failed: int
    expected: float
    ratio: float | None
    low: float | None
    high: float | None
    p_value: float | None
    is_marked: bool
    excess: float
    excess_mg: float
    excess_minor: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OfModel:
    """A model's batches, the most striking first; `by_component` counts first failures."""

    model: FrameModel
    rows: tuple[Compared, ...]
    by_component: Mapping[str, int]
    frames: int


def feedback(as_of: Month) -> tuple[OfModel, ...]:
    """Return every model that was sold, by name. Three questions a batch."""
    return tuple(
        found
        for model in FrameModel.objects.order_by("name")
        if (found := _of_model(model, as_of)).frames
    )


@dataclass(frozen=True, slots=True)
class _Batch:
    """Units at risk by age and failures by age and component."""

    code: str
    sold: int
    at_risk: Mapping[int, int]
    failed: Mapping[tuple[int, str], int]


def _of_model(model: FrameModel, as_of: Month) -> OfModel:
    batches = [_batch(one, as_of) for one in Scope(model).batches().order_by("made_on", "code")]
    batches = [one for one in batches if one.sold]
    counted: Counter[str] = Counter()
    for one in batches:
        for (_age, component), count in one.failed.items():
            counted[component] += count
    worth = _worth(model)
    asked = [
        (one, component, rows)
        for component in (ANY, *ComponentKey.values)
        for one in batches
        if (rows := _rows(one, batches, component)) and _enough(rows)
    ]
    tested = [sums.hazard_ratio(rows) for _one, _component, rows in asked]
    known = [ratio.p_value for ratio in tested if ratio]
    corrected = iter(sums.holm(known))
    found = []
    for (one, component, rows), ratio in zip(asked, tested, strict=True):
        p_value = next(corrected) if ratio else None
        found.append(_compared(one, component, rows, (ratio, p_value, len(known)), worth))
    found.sort(key=lambda row: (not row.is_marked, -(row.excess), row.batch, row.component))
    return OfModel(
        model=model,
        rows=tuple(found),
        by_component=dict(counted),
        frames=sum(one.sold for one in batches),
    )


def _batch(batch: ProductionBatch, as_of: Month) -> _Batch:
    sold, laid = by_component(Scope(batch.colourway.model, batch), as_of=as_of)
    now = index(as_of)
    gone: Counter[tuple[int, int]] = Counter()
    failed: Counter[tuple[int, str]] = Counter()
    for (sale, age, component), count in laid.items():
        gone[sale, age] += count
        failed[age, component] += count
    at_risk: Counter[int] = Counter()
    for sale, pieces in sold.items():
        out = pieces
        for age in range(1, now - sale + 1):
            at_risk[age] += out
            out -= gone[sale, age]
    return _Batch(batch.code, sum(sold.values()), at_risk, failed)


def _rows(one: _Batch, batches: Iterable[_Batch], component: str) -> list[AgeRow]:
    others = [other for other in batches if other is not one]
    return [
        AgeRow(
            one.at_risk[age],
            _failed(one, age, component),
            sum(other.at_risk.get(age, 0) for other in others),
            sum(_failed(other, age, component) for other in others),
        )
        for age in sorted(one.at_risk)
    ]


def _failed(batch: _Batch, age: int, component: str) -> int:
    if component != ANY:
        return batch.failed.get((age, component), 0)
    return sum(count for (at, _component), count in batch.failed.items() if at == age)


def _enough(rows: Iterable[AgeRow]) -> bool:
    return sum(row.failed + row.others_failed for row in rows) >= sums.FAILURES_MIN


def _compared(
    one: _Batch,
    component: str,
    rows: list[AgeRow],
    tested: tuple[sums.Ratio | None, float | None, int],
    worth: tuple[float, float],
) -> Compared:
    ratio, p_value, comparisons = tested
    failed = sum(row.failed for row in rows)
    # What the group would have had at the others' hazards, which the ratio compares it with.
    expected = failed / ratio.ratio if ratio else sums.log_rank(rows).expected
    low, high = ratio.limits(comparisons) if ratio else (None, None)
    excess = failed - expected
    return Compared(
        batch=one.code,
        component=component,
        sold=one.sold,
        failed=failed,
        expected=expected,
        ratio=ratio.ratio if ratio else None,
        low=low,
        high=high,
        p_value=p_value,
        is_marked=p_value is not None and p_value < sums.SIGNIFICANCE,
        excess=excess,
        excess_mg=excess * worth[0],
        excess_minor=excess * worth[1],
    )


def _worth(model: FrameModel) -> tuple[float, float]:
    """Return what a return of the model comes to: material put in a box, mg, and money."""
    frames = Scope(model).frames().exclude(ended_at=None).order_by()
    masses = [float(mg) for mg in frames.values_list("boxed_mg", flat=True)]
    graded = Grading.objects.filter(frame__in=frames).order_by()
    costs = [float(_cost(sums_)) for sums_ in graded.values_list("sums", flat=True)[:500]]
    return fmean(masses) if masses else 0.0, fmean(costs) if costs else 0.0


def _cost(kept: Mapping[str, Mapping[str, int]]) -> int:
    figures = kept.get("figures", {})
    return figures.get("expected_minor") or figures.get("replacement_minor") or 0
