"""Spare parts that customers will ask for, month by month, from the kits of each model. Reads."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from django.db.models import Aggregate, Count, QuerySet, Sum

from inventory.models import Part
from inventory.months.sums.calendar_month import Month
from returns.catalogue import queries as catalogue
from returns.figures.forecast.queries.forecast import forecast_of
from returns.figures.forecast.sums.forecasts import MonthForecast
from returns.figures.forecast.sums.part_months import PartMonth, part_month, thinned
from returns.figures.lifetimes.queries.lifetimes import kit_cohorts
from returns.figures.span.queries import Scope
from returns.models import Colourway, FrameModel, Request, SoldUnits


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMonths:
    """One part's months to come; `thin` names the models whose requests tell too little yet."""

    code: str
    name: str
    months: tuple[PartMonth, ...]
    thin: tuple[str, ...]


def parts_by_month(scope: Scope, *, as_of: Month) -> tuple[PartMonths, ...]:
    """Return the pieces of every part that comes in a spare kit of the models in scope, by part.

    A kit holds what the bill of its look says now: where the looks of a model differ in a part,
    each asks for its own by its share of what was asked for. Models with thin data are left out,
    so that the sum is of the others alone.
    """
    ahead: dict[int, tuple[MonthForecast, ...]] = {}
    bills = _bills(scope)
    # Models and parts come in one question each; the cohorts of a model cannot be shared, so they
    # do not.
    models = FrameModel.objects.in_bulk({model for bill in bills.values() for model, _n in bill})
    for pk, model in models.items():
        made = forecast_of(kit_cohorts(Scope(model), as_of=as_of))
        ahead[pk] = made.months if made else ()
    parts = Part.objects.in_bulk(list(bills))
    return tuple(
        PartMonths(
            code=parts[part].code,
            name=parts[part].name,
            months=_months([(n, share, ahead[model]) for (model, n), share in bill.items()]),
            thin=tuple(sorted({models[model].name for model, _n in bill if not ahead[model]})),
        )
        for part, bill in sorted(bills.items(), key=lambda item: parts[item[0]].code)
    )


Bills = dict[int, dict[tuple[int, int], Fraction]]


def _bills(scope: Scope) -> Bills:
    """Part to (model, pieces in one kit) to the share of the model's kits that are so."""
    ways = Colourway.objects.select_related("polymer", "colour")
    if scope.model is not None:
        ways = ways.filter(model=scope.model)
    looks = list(ways.order_by("pk"))
    shares = _shares(looks)
    found: Bills = {}
    for pk, bill in catalogue.bills_of(looks).items():
        pieces = Counter(
            made.piece.part_id for made in bill.values() if made.piece.in_kit and made.piece.part_id
        )
        for part, count in pieces.items():
            model, share = shares[pk]
            if share:
                kits = found.setdefault(part, {})
                kits[model, count] = kits.get((model, count), Fraction(0)) + share
    return found


def _shares(looks: Sequence[Colourway]) -> dict[int, tuple[int, Fraction]]:
    """Return by colourway its model, and its share of the model's kits: of those that were asked
    for, else of the pieces sold, else the same for each."""
    asked = _counted(Request.objects.filter(kind=Request.Kind.SCREWS), "colourway", Count("pk"))
    sold = _counted(SoldUnits.objects.all(), "batch__colourway", Sum("pieces"))
    by_model: dict[int, list[int]] = {}
    for look in looks:
        by_model.setdefault(look.model_id, []).append(look.pk)
    found: dict[int, tuple[int, Fraction]] = {}
    for model, pks in by_model.items():
        counts = next(
            one for one in (asked, sold, dict.fromkeys(pks, 1)) if any(one.get(pk) for pk in pks)
        )
        whole = sum(counts.get(pk, 0) for pk in pks)
        found |= {pk: (model, Fraction(counts.get(pk, 0), whole)) for pk in pks}
    return found


def _counted(rows: QuerySet[Any], by: str, what: Aggregate) -> dict[int, int]:
    return dict(rows.order_by().values_list(by).annotate(what))


def _months(
    kits: Sequence[tuple[int, Fraction, tuple[MonthForecast, ...]]],
) -> tuple[PartMonth, ...]:
    # A model without a forecast is left out of the sum, and named as such: a zero would read as
    # none.
    data = [one for one in kits if one[2]]
    if not data:
        return ()
    return tuple(
        part_month([(pieces, thinned(months[k], float(share))) for pieces, share, months in data])
        for k in range(len(data[0][2]))
    )
