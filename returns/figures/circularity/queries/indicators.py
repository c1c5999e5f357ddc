"""Indicators of a span that stand on the figures: material circularity, flows, number of lives.

Each one says what is missing where the books do not carry it. The limits of evidence are the
workshop's own choice.
"""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Sum
from django.utils.translation import gettext as _

from inventory.models import Posting
from inventory.wording import gettext_noop
from returns.catalogue import queries as catalogue
from returns.figures.circularity.queries import circular_flows, flows
from returns.figures.circularity.queries import mean_lives as lives
from returns.figures.circularity.queries.circularity import Circularity, Content, content_of
from returns.figures.circularity.queries.judged import Judged, Missing
from returns.figures.circularity.queries.outcomes import REGROUND, by_outcome, outcomes
from returns.figures.circularity.sums import circularity as sums
from returns.figures.circularity.sums.indicator_spread import (
    Inputs,
    indicator,
    measured_use,
    simulated,
)
from returns.figures.circularity.sums.mean_lives import mean as middle_of
from returns.figures.claims.sums.claims import InputRefused
from returns.figures.lifetimes.queries import lifetimes
from returns.figures.span.queries import Scope, Span
from returns.models import Colourway, FrameModel, SoldUnits

SOLD_MIN = 30
# Any number would do, but it must stay: page, download and API simulate each by itself and must
# agree.
SEED = 20_261_014
DRAWS = 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Indicator:
    """A dimensionless figure with its range; or what is missing for it.

    `evidence` counts things of the kind `of`. `knows_life` says whether the range of the
    circularity indicator has a spread of the life in it; `use` is its X where that was measured,
    and None where the life is taken as the trade's.
    """

    figure: float | None = None
    low: float | None = None
    high: float | None = None
    evidence: int = 0
    of: str = ""
    method: str = ""
    knows_life: bool = False
    use: float | None = None
    missing: Missing | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Indicators:
    material_circularity: Indicator
    inflow: circular_flows.FlowTable
    outflow: circular_flows.FlowTable
    mean_lives: Indicator


def indicators(span: Span, scope: Scope, figures: Circularity) -> Indicators:
    """Return the indicators of the same span and scope as `figures`."""
    return Indicators(
        material_circularity=material_circularity(span, scope, figures),
        inflow=circular_flows.inflow(figures),
        outflow=circular_flows.outflow(span, scope, figures),
        mean_lives=mean_lives(span, scope),
    )


@dataclass(frozen=True, slots=True)
class ModelIndicator:
    """The indicator of one model; or what is missing for it."""

    code: str
    name: str
    found: Indicator


@dataclass(frozen=True, slots=True, kw_only=True)
class _Basis:
    """What the indicator of a model stands on, beside its bill of materials and its returns."""

    sold: int
    content: Content
    recovery: Judged
    runs: int


def material_circularity(span: Span, scope: Scope, figures: Circularity) -> Indicator:
    """Return the indicator of one model from what was measured: issues, box mass, grinding yield.

    Shares collected are mass boxed or salvaged up to the end of the span per mass sold by then.
    The feedstock's own yield is taken to be that of this workshop's granulator; lenses and screws
    count as virgin and discarded. X is the mean life over what the trade expects once half of the
    frames came back, and 1 before. The interval is a simulation over the limits of collection, of
    yield and of the mean life, from a fixed seed.
    """
    if scope.model is None:
        return _without("models", 0, 1)
    counts = figures.counts
    basis = _Basis(
        sold=counts.sold_ever,
        content=figures.content,
        recovery=figures.recovery_yield,
        runs=figures.runs,
    )
    return _of_model(span, scope, basis)


def by_model(span: Span, figures: Circularity) -> tuple[ModelIndicator, ...]:
    """Return the indicator of every model. All share the yield of the workshop's `figures`."""
    # Sales of all models in one question; content and lives are asked model by model, and models
    # are few.
    sold = dict(
        Scope()
        .sold()
        .filter(month__lte=span.labels[1])
        .order_by()
        .values_list("batch__colourway__model")
        .annotate(Sum("pieces"))
    )
    rows = []
    for model in FrameModel.objects.order_by("name"):
        scope = Scope(model)
        basis = _Basis(
            sold=sold.get(model.pk, 0),
            content=content_of(span, scope),
            recovery=figures.recovery_yield,
            runs=figures.runs,
        )
        rows.append(ModelIndicator(model.code, model.name, _of_model(span, scope, basis)))
    return tuple(rows)


def _of_model(span: Span, scope: Scope, basis: _Basis) -> Indicator:
    missing = _missing_for_indicator(basis)
    if missing is not None:
        return Indicator(missing=missing)
    masses = _bill(scope)
    if masses["frame"] < 1:
        return _without("components", 0, 1, _("The bill of materials names no frame material."))
    try:
        return _simulated(*_inputs(span, scope, basis, masses), basis.sold)
    except InputRefused as error:
        return Indicator(missing=Missing.because(error))


def _missing_for_indicator(basis: _Basis) -> Missing | None:
    if basis.sold < SOLD_MIN:
        return Missing(of="sold units", have=basis.sold, need=SOLD_MIN)
    if basis.content.recycled_share is None:
        return Missing(of="issues to moulding", have=basis.content.issues, need=1)
    if basis.recovery.share is None:
        return Missing(of="grind runs", have=basis.runs, need=1)
    return None


def _bill(scope: Scope) -> dict[str, int]:
    """Return nominal milligrams of one piece: frame material, and all else.

    Of the looks of a model it is the mean, by the pieces sold of each.
    """
    looks = Colourway.objects.filter(model=scope.model).select_related("polymer", "colour")
    if scope.batch is not None:
        looks = looks.filter(pk=scope.batch.colourway_id)
    masses = catalogue.piece_masses(looks)
    rows = SoldUnits.objects.filter(batch__colourway__in=list(masses)).order_by()
    sold = dict(rows.values_list("batch__colourway").annotate(Sum("pieces")))
    sold = sold if any(sold.values()) else dict.fromkeys(masses, 1)
    weights = {pk: sold.get(pk, 0) for pk in masses}
    whole = max(1, sum(weights.values()))
    return {
        "frame": sum(masses[pk].frame_mg * weight for pk, weight in weights.items()) // whole,
        "rest": sum(masses[pk].rest_mg * weight for pk, weight in weights.items()) // whole,
    }


def _inputs(
    span: Span, scope: Scope, basis: _Basis, masses: dict[str, int]
) -> tuple[Inputs, float | None]:
    """Return the shares of material sold that were boxed or salvaged; limits follow frame counts.

    Beside them X, where it was measured.
    """
    sold_mg = basis.sold * masses["frame"]
    tags = scope.frames().order_by()
    rows = Posting.objects.filter(
        movement__kind="strip_down",
        movement__month__lte=span.labels[1],
        movement__subject__in=tags.values("tag"),
    ).order_by()
    moved = flows.net(rows).by_target_mg("strip_down")
    # Real frames may outweigh the drawing: a share above 1 is cut, and what was salvaged gets the
    # rest.
    recycled = min(1.0, moved.get("box", 0) / sold_mg)
    reused = min(1.0 - recycled, moved.get("salvage", 0) / sold_mg)
    count = by_outcome(outcomes(scope, last=span.labels[1]))[REGROUND]
    limits = sums.counted_share(count=min(count, basis.sold), of=basis.sold)
    # The interval is one of counts, the share one of mass: its limits are stretched by the same
    # ratio.
    ratio = recycled / limits.share if limits.share else 1.0
    recovery = basis.recovery.share
    if recovery is None or basis.content.recycled_share is None:
        raise InputRefused(gettext_noop("The yield or the recycled content is not known."))
    lived = lifetimes.lifetimes(lifetimes.cohorts(scope, as_of=span.last))
    use = _measured_use(scope, lived)
    given = Inputs(
        frame_mg=masses["frame"],
        rest_mg=masses["rest"],
        recycled_in=basis.content.recycled_share,
        collected=(
            min(recycled, limits.low * ratio),
            recycled,
            max(recycled, min(1 - reused, limits.high * ratio)),
        ),
        reused=reused,
        recovered=(recovery.low, recovery.share, recovery.high),
        use=use or 1.0,
        use_factor=lived.fit.mean_factor if lived.fit else 1.0,
    )
    return given, use


def _measured_use(scope: Scope, lived: lifetimes.Lifetimes) -> float | None:
    if scope.model is None or lived.fit is None:
        return None
    return measured_use(
        lived.fit.mean,
        still_out=lived.curve[-1].survival,
        expected_months=scope.model.expected_life_months,
    )


def _simulated(given: Inputs, use: float | None, sold: int) -> Indicator:
    middle = indicator(
        given, collected=given.collected[1], recovered=given.recovered[1], use=given.use
    )
    spread = simulated(given, seed=SEED, draws=DRAWS)
    return Indicator(
        figure=middle,
        # The simulation's median is not the middle of its inputs: the figure must lie in its own
        # range.
        low=min(spread.low, middle),
        high=max(spread.high, middle),
        evidence=sold,
        of="sold units",
        method="simulation",
        knows_life=given.use_factor > 1,
        use=use,
    )


def mean_lives(span: Span, scope: Scope) -> Indicator:
    """Return the mass-weighted mean number of heat passes of the batches moulded in the span.

    A pass stands for a life, but own scrap ground back has passed without one: an upper figure.
    `returns.figures.circularity.queries.mean_lives.limits` says what its range covers.
    """
    models, batches = lives.moulded(span, scope)
    if not models:
        return _without("production batches", 0, 1)
    low, high = lives.limits(span, scope, models)
    return Indicator(
        figure=middle_of(models),
        low=low,
        high=high,
        evidence=batches,
        of="production batches",
        method="propagation of masses and unknown batches",
    )


def _without(of: str, have: int, need: int, reason: str = "") -> Indicator:
    return Indicator(missing=Missing(of=of, have=have, need=need, reason=reason))
