"""What came back and what became of it, over a span: everything, one model, or one batch."""

from __future__ import annotations

import dataclasses
from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from inventory.api.shapes import found
from inventory.api.views import Detail
from inventory.errors import BadInput
from returns.models import FrameModel, ProductionBatch
from returns.queries.circularity import Circularity, circularity
from returns.queries.indicators import indicators
from returns.queries.span import Scope, Span

MONTH_TEXT_MAX = 7


class ShareAnswer(serializers.Serializer[Any]):
    """A share 0..1 with the interval it lies in, or what is missing for one."""

    share = serializers.JSONField(allow_null=True)
    missing = serializers.JSONField(allow_null=True)


class WeighedAnswer(serializers.Serializer[Any]):
    """A mass with its expanded uncertainty (k = 2)."""

    mass_mg = serializers.IntegerField()
    expanded_mg = serializers.FloatField()
    readings = serializers.IntegerField()
    unweighed_mg = serializers.IntegerField()


class LossAnswer(serializers.Serializer[Any]):
    stage = serializers.CharField()
    cause = serializers.CharField()
    mass_mg = serializers.IntegerField()
    share = serializers.FloatField()


class IndicatorsAnswer(serializers.Serializer[Any]):
    """Each with its range, or with what is missing for it. `material_circularity` needs a model."""

    material_circularity = serializers.JSONField()
    inflow = serializers.JSONField()
    outflow = serializers.JSONField()
    mean_lives = serializers.JSONField()


class CircularityAnswer(serializers.Serializer[Any]):
    first_month = serializers.CharField()
    last_month = serializers.CharField()
    scope = serializers.CharField()
    counts = serializers.DictField(child=serializers.IntegerField())
    take_back = ShareAnswer()
    take_back_in_span = ShareAnswer()
    repair_share = ShareAnswer()
    recovered = WeighedAnswer()
    salvaged_mg = serializers.IntegerField()
    recovery_yield = ShareAnswer()
    runs = serializers.IntegerField()
    ground_mg = serializers.IntegerField()
    flake_mg = serializers.IntegerField()
    losses = LossAnswer(many=True)
    content = serializers.JSONField()
    recycled_content = ShareAnswer()
    closed_loop = ShareAnswer()
    indicators = IndicatorsAnswer()


def _month(name: str, what: str) -> OpenApiParameter:
    return OpenApiParameter(name, OpenApiTypes.STR, description=what, pattern="^[0-9]{4}-[0-9]{2}$")


class Whole(Detail):
    """Circularity of everything the workshop makes. Without months: the last twelve."""

    scope = "read"
    answer_class = CircularityAnswer
    header_parameters = [
        _month("from", "First month, such as 2026-01."),
        _month("to", "Last month, included."),
    ]

    def thing(self) -> dict[str, Any]:
        span, scope = self.span(), self.within()
        figures: Circularity = circularity(span, scope)
        more = dataclasses.asdict(indicators(span, scope, figures))
        return {**dataclasses.asdict(figures), "indicators": more}

    def within(self) -> Scope:
        return Scope()

    def span(self) -> Span:
        asked = {name: self.request.GET.get(name, "") for name in ("from", "to")}
        if not any(asked.values()):
            return Span.of_year_before(timezone.now())
        for name, text in asked.items():
            if len(text) > MONTH_TEXT_MAX:
                raise BadInput(field=name)
        return Span.parse(asked["from"] or asked["to"], asked["to"] or asked["from"])


class OfModel(Whole):
    """Circularity of one model."""

    def within(self) -> Scope:
        return Scope(model=found(FrameModel.objects.all(), code=self.kwargs["code"]))


class OfBatch(Whole):
    """Circularity of one production batch."""

    def within(self) -> Scope:
        rows = ProductionBatch.objects.select_related("colourway__model")
        batch = found(rows, code=self.kwargs["code"])
        return Scope(model=batch.colourway.model, batch=batch)
