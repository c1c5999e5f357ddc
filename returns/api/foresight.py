"""Lifetimes, forecast, claims and emissions: the owner's figures, as the pages have them."""

from __future__ import annotations

import dataclasses
from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from inventory.api.views import Detail
from inventory.sums.months import month_of
from returns.api.circularity import Whole
from returns.queries import claims_sheet, emissions, forecast, lifetimes
from returns.queries.circularity import circularity
from returns.queries.span import Scope, by_index, zone

CODE_TEXT_MAX = 30


class LifetimesAnswer(serializers.Serializer[Any]):
    """Curve, fit and causes up to the last complete month. What is too thin is in `missing`."""

    as_of = serializers.CharField()
    scope = serializers.CharField()
    curve = serializers.JSONField()
    median_months = serializers.FloatField(allow_null=True)
    fit = serializers.JSONField(allow_null=True)
    causes = serializers.JSONField()
    missing = serializers.JSONField(allow_null=True)


class ForecastAnswer(serializers.Serializer[Any]):
    """The next twelve months, with 90 % limits, and how such forecasts did on the past."""

    as_of = serializers.CharField()
    scope = serializers.CharField()
    months = serializers.JSONField()
    covered_share = serializers.FloatField(allow_null=True)
    tested_months = serializers.IntegerField()
    tested_lead_months = serializers.IntegerField()
    mass_by_colour = serializers.JSONField()
    kit_requests = serializers.JSONField()
    missing = serializers.JSONField(allow_null=True)


class ClaimsAnswer(serializers.Serializer[Any]):
    """Each sentence that may be published, or that there is not enough evidence for it."""

    lines = serializers.JSONField()


class EmissionsAnswer(serializers.Serializer[Any]):
    """Year by year; two lines that are never netted, or why there is no number."""

    years = serializers.JSONField()


class _Scoped(Detail):
    scope = "read"
    header_parameters = [
        OpenApiParameter("model", OpenApiTypes.STR, description="Code of a model."),
        OpenApiParameter("batch", OpenApiTypes.STR, description="Code of a production batch."),
    ]

    def within(self) -> Scope:
        asked = {name: self.request.GET.get(name, "") for name in ("model", "batch")}
        return Scope.of_codes(**{name: text[:CODE_TEXT_MAX] for name, text in asked.items()})


class Lifetimes(_Scoped):
    """How long frames stay out before they first come back."""

    answer_class = LifetimesAnswer

    def thing(self) -> dict[str, Any]:
        scope, as_of = self.within(), month_of(timezone.now(), zone()).previous()
        lived = lifetimes.lifetimes(lifetimes.cohorts(scope, as_of=as_of))
        causes = lifetimes.causes(scope, as_of=as_of)
        return {
            **dataclasses.asdict(lived),
            "as_of": str(as_of),
            "scope": scope.name,
            "causes": [dataclasses.asdict(cause) for cause in causes],
        }


class Forecast(_Scoped):
    """What will come back in the next twelve months."""

    answer_class = ForecastAnswer

    def thing(self) -> dict[str, Any]:
        scope, as_of = self.within(), month_of(timezone.now(), zone()).previous()
        ahead = forecast.forecast(lifetimes.cohorts(scope, as_of=as_of))
        return {
            "as_of": str(as_of),
            "scope": scope.name,
            "months": [_dated(month) for month in ahead.made.months] if ahead.made else [],
            "covered_share": ahead.covered_share,
            "tested_months": ahead.tested_months,
            "tested_lead_months": ahead.tested_lead,
            "mass_by_colour": [
                {"colour": one.name, "months": [_dated(month) for month in one.months]}
                for one in forecast.mass_by_colour(scope, as_of=as_of)
            ],
            "kit_requests": [_dated(one) for one in forecast.screws_by_month(scope, as_of=as_of)],
            "missing": dataclasses.asdict(ahead.missing) if ahead.missing else None,
        }


class Claims(Whole):
    """What may be said in public about a span, with its evidence."""

    answer_class = ClaimsAnswer  # type: ignore[assignment]

    def thing(self) -> dict[str, Any]:
        lines = claims_sheet.sheet(circularity(self.span(), self.within()))
        return {"lines": [dataclasses.asdict(line) for line in lines]}


class Emissions(Detail):
    """Emissions of the workshop's material, and those avoided elsewhere, apart."""

    scope = "read"
    answer_class = EmissionsAnswer

    def thing(self) -> dict[str, Any]:
        return {"years": [dataclasses.asdict(year) for year in emissions.years()]}


def _dated(month: Any) -> dict[str, Any]:
    return {**dataclasses.asdict(month), "month": str(by_index(month.month))}
