"""Spare parts that customers will ask for, month by month, from the kits of each model. Reads."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from django.db.models import Count

from inventory.models import Part
from inventory.months.sums.calendar_month import Month
from returns.figures.forecast.queries.forecast import forecast_of
from returns.figures.forecast.sums.forecasts import MonthForecast
from returns.figures.forecast.sums.part_months import PartMonth, part_month
from returns.figures.lifetimes.queries.lifetimes import kit_cohorts
from returns.figures.span.queries import Scope
from returns.models import Component, FrameModel


@dataclass(frozen=True, slots=True, kw_only=True)
class PartMonths:
    """One part's months to come; `thin` names the models whose requests tell too little yet."""

    code: str
    name: str
    months: tuple[PartMonth, ...]
    thin: tuple[str, ...]


def parts_by_month(scope: Scope, *, as_of: Month) -> tuple[PartMonths, ...]:
    """Return the pieces of every part that comes in a spare kit of the models in scope, by part.

    A kit holds what the bill of materials says now. Models with thin data are left out, so that
    the sum is of the others alone.
    """
    ahead: dict[int, tuple[MonthForecast, ...]] = {}
    bills = _bills(scope)
    # Models and parts come in one question each; the cohorts of a model cannot be shared, so they
    # do not.
    models = FrameModel.objects.in_bulk({model for bill in bills.values() for model in bill})
    for pk, model in models.items():
        made = forecast_of(kit_cohorts(Scope(model), as_of=as_of))
        ahead[pk] = made.months if made else ()
    parts = Part.objects.in_bulk(list(bills))
    return tuple(
        PartMonths(
            code=parts[part].code,
            name=parts[part].name,
            months=_months({model: (n, ahead[model]) for model, n in bill.items()}),
            thin=tuple(sorted(models[model].name for model in bill if not ahead[model])),
        )
        for part, bill in sorted(bills.items(), key=lambda item: parts[item[0]].code)
    )


def _bills(scope: Scope) -> dict[int, dict[int, int]]:
    """Part to model to pieces in one spare kit."""
    rows = Component.objects.filter(in_kit=True, part__isnull=False)
    if scope.model is not None:
        rows = rows.filter(model=scope.model)
    found: defaultdict[int, dict[int, int]] = defaultdict(dict)
    counted = rows.order_by().values_list("part", "model").annotate(pieces=Count("pk"))
    for part, model, pieces in counted:
        found[part][model] = pieces
    return dict(found)


def _months(kits: dict[int, tuple[int, tuple[MonthForecast, ...]]]) -> tuple[PartMonth, ...]:
    # A model without a forecast is left out of the sum, and named as such: a zero would read as
    # none.
    data = [(pieces, months) for pieces, months in kits.values() if months]
    if not data:
        return ()
    span = range(len(data[0][1]))
    return tuple(part_month([(pieces, months[k]) for pieces, months in data]) for k in span)
