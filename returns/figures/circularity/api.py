"""What came back and what became of it, over a span: everything, one model, or one batch."""

from __future__ import annotations

import dataclasses
from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from inventory.errors import BadInput
from inventory.furniture.api.shapes import found
from inventory.furniture.api.views import Detail
from returns.figures.circularity.queries.circularity import Circularity, circularity
from returns.figures.circularity.queries.indicators import indicators
from returns.figures.span.queries import Scope, Span
from returns.models import FrameModel, ProductionBatch

MONTH_TEXT_MAX = 7


class MissingAnswer(serializers.Serializer[Any]):
    """Why there is no figure: `have` of `need` things of the kind `of`, and a reason if known."""

    of = serializers.CharField(allow_blank=True)
    have = serializers.IntegerField()
    need = serializers.IntegerField()
    reason = serializers.CharField(allow_blank=True)


class IntervalAnswer(serializers.Serializer[Any]):
    """A share 0..1 with its limits, how they were made, and how many cases stand behind it."""

    share = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    coverage = serializers.FloatField()
    method = serializers.CharField()
    evidence = serializers.IntegerField()


class ShareAnswer(serializers.Serializer[Any]):
    """A share with the interval it lies in, or what is missing for one."""

    share = IntervalAnswer(allow_null=True)
    missing = MissingAnswer(allow_null=True)


class WeighedAnswer(serializers.Serializer[Any]):
    """A mass with its expanded uncertainty (k = 2), and the part that no reading stands behind."""

    mass_mg = serializers.IntegerField()
    expanded_mg = serializers.FloatField()
    readings = serializers.IntegerField()
    unweighed_mg = serializers.IntegerField()


class LossAnswer(serializers.Serializer[Any]):
    stage = serializers.CharField()
    cause = serializers.CharField()
    mass_mg = serializers.IntegerField()
    share = serializers.FloatField()
    expanded_mg = serializers.FloatField(allow_null=True)


class IndicatorAnswer(serializers.Serializer[Any]):
    """A dimensionless figure with its range, how it was made and what stands behind it."""

    figure = serializers.FloatField(allow_null=True)
    low = serializers.FloatField(allow_null=True)
    high = serializers.FloatField(allow_null=True)
    evidence = serializers.IntegerField()
    of = serializers.CharField(allow_blank=True)
    method = serializers.CharField(allow_blank=True)
    knows_life = serializers.BooleanField()
    use = serializers.FloatField(allow_null=True)
    missing = MissingAnswer(allow_null=True)


class FlowShareAnswer(serializers.Serializer[Any]):
    """One category's per cent of a flow; its limits are null where it has no range, the expanded
    uncertainty (k = 2) where some of the mass was not weighed."""

    category = serializers.CharField()
    mass_mg = serializers.IntegerField()
    expanded_mg = serializers.FloatField(allow_null=True)
    percent = serializers.FloatField()
    low_percent = serializers.FloatField(allow_null=True)
    high_percent = serializers.FloatField(allow_null=True)
    not_applicable = serializers.CharField(allow_blank=True)


class FlowAnswer(serializers.Serializer[Any]):
    """Shares of a flow after ISO 59020:2024, with what their ranges rest on."""

    total_mg = serializers.IntegerField()
    total_expanded_mg = serializers.FloatField(allow_null=True)
    shares = FlowShareAnswer(many=True)
    evidence = serializers.IntegerField()
    of = serializers.CharField(allow_blank=True)
    method = serializers.CharField(allow_blank=True)
    missing = MissingAnswer(allow_null=True)


class IndicatorsAnswer(serializers.Serializer[Any]):
    """Each with its range, or with what is missing for it. `material_circularity` needs a model."""

    material_circularity = IndicatorAnswer()
    inflow = FlowAnswer()
    outflow = FlowAnswer()
    mean_lives = IndicatorAnswer()


class ContentAnswer(serializers.Serializer[Any]):
    """What was issued to moulding. `weighed` has each mass by its name, with its uncertainty."""

    post_consumer_return_mg = serializers.IntegerField()
    post_consumer_feedstock_mg = serializers.IntegerField()
    in_process_mg = serializers.IntegerField()
    virgin_mg = serializers.IntegerField()
    unknown_mg = serializers.IntegerField(help_text="The part of the virgin nobody could name.")
    counted_mg = serializers.IntegerField()
    recycled_share = serializers.FloatField(allow_null=True)
    return_share = serializers.FloatField(allow_null=True)
    issues = serializers.IntegerField()
    scrap_back_mg = serializers.IntegerField()
    weighed = serializers.DictField(child=WeighedAnswer())


class CountsAnswer(serializers.Serializer[Any]):
    """Pieces. `sold_until` is the last month whose sales are known, empty where there is none."""

    sold_in_span = serializers.IntegerField()
    sold_ever = serializers.IntegerField()
    received = serializers.IntegerField()
    first_returns = serializers.IntegerField()
    came_ever = serializers.IntegerField()
    sold_until = serializers.CharField()
    came_of_sold = serializers.IntegerField()
    mended = serializers.IntegerField()
    reground = serializers.IntegerField()
    posted_as_is = serializers.IntegerField()
    discarded = serializers.IntegerField()


class CircularityAnswer(serializers.Serializer[Any]):
    """`weighed` has the masses salvaged, ground and of flake again, with their uncertainty.

    That of what was ground is that of its frames at the box: nobody weighs the box.
    """

    first_month = serializers.CharField()
    last_month = serializers.CharField()
    scope = serializers.CharField()
    counts = CountsAnswer()
    take_back = ShareAnswer()
    take_back_in_span = ShareAnswer()
    repair_share = ShareAnswer()
    recovered = WeighedAnswer()
    salvaged_mg = serializers.IntegerField(source="salvaged.mass_mg")
    weighed = serializers.DictField(child=WeighedAnswer())
    recovery_yield = ShareAnswer()
    runs = serializers.IntegerField()
    ground_mg = serializers.IntegerField(source="ground.mass_mg")
    flake_mg = serializers.IntegerField(source="flake.mass_mg")
    losses = LossAnswer(many=True)
    content = ContentAnswer()
    recycled_content = ShareAnswer()
    closed_loop = ShareAnswer()
    indicators = IndicatorsAnswer()


def _month(name: str, what: str) -> OpenApiParameter:
    return OpenApiParameter(name, OpenApiTypes.STR, description=what, pattern="^[0-9]{4}-[0-9]{2}$")


class Whole(Detail):
    """Show how circular everything is that the workshop makes, over the months asked for.

    Without months it is the last twelve. Masses are in mg, shares run from 0 to 1 with their
    limits; a figure without enough evidence is null, and `missing` says what it takes. Answers
    `bad-input` for a month that cannot be read, or a span that is too long or ends before it
    begins.
    """

    scope = "read"
    answer_class = CircularityAnswer
    header_parameters = [
        _month("from", "First month, such as 2026-01."),
        _month("to", "Last month, included."),
    ]

    def instance(self) -> dict[str, Any]:
        span, scope = self.span(), self.within()
        figures: Circularity = circularity(span, scope)
        # `asdict` goes down into the masses too, so what is named twice below is one and the same
        # figure.
        data = dataclasses.asdict(figures)
        more = dataclasses.asdict(indicators(span, scope, figures))
        weighed = {name: data[name] for name in ("salvaged", "ground", "flake")}
        return {**data, "weighed": weighed, "indicators": more}

    def within(self) -> Scope:
        return Scope()

    def span(self) -> Span:
        asked = {name: self.request.GET.get(name, "") for name in ("from", "to")}
        if not any(asked.values()):
            return Span.of_year_before(timezone.now())
        for name, text in asked.items():
            # Refused by its length before it is parsed: a year of many digits is no month.
            if len(text) > MONTH_TEXT_MAX:
                raise BadInput(field=name)
        # One month given alone is a span of that month.
        return Span.parse(asked["from"] or asked["to"], asked["to"] or asked["from"])


class OfModel(Whole):
    """Show how circular one model is: the figures of the whole workshop, of this model alone.

    Answers `not-found` for another code, and `bad-input` for months that will not do.
    """

    def within(self) -> Scope:
        return Scope(model=found(FrameModel.objects.all(), code=self.kwargs["code"]))


class OfBatch(Whole):
    """Show how circular one production batch is: the figures of the workshop, of it alone.

    Answers `not-found` for another code, and `bad-input` for months that will not do.
    """

    def within(self) -> Scope:
        rows = ProductionBatch.objects.select_related("colourway__model")
        batch = found(rows, code=self.kwargs["code"])
        return Scope(model=batch.colourway.model, batch=batch)
