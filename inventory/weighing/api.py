"""Whether a month's weighings agree, and which do not."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api.views import Detail
from inventory.months.queries import months
from inventory.weighing.queries import reconciled


class MonthBalanceAnswer(serializers.Serializer[Any]):
    """In minus out around one balance. `gap_mg` is null where a leg was not weighed;
    `least_leak_mg` would be seen nine times of ten, and is null where the test cannot say."""

    key = serializers.CharField(source="node.key")
    place = serializers.CharField(source="node.place.code", default=None, allow_null=True)
    ended_by_movement = serializers.IntegerField(source="node.ended_by", allow_null=True)
    gap_mg = serializers.IntegerField(allow_null=True)
    expanded_mg = serializers.IntegerField(source="u_mg", allow_null=True)
    z = serializers.FloatField(allow_null=True)
    suspect = serializers.BooleanField(source="is_suspect")
    least_leak_mg = serializers.IntegerField(source="leak_mg", allow_null=True)


class MonthStreamAnswer(serializers.Serializer[Any]):
    """A stream between balances; an empty end lies outside. `read_mg` is booked if not weighed;
    `others_mg` is what all other weighings give for it."""

    name = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment]
    target = serializers.CharField()
    kind = serializers.CharField()
    to = serializers.CharField()
    read_mg = serializers.IntegerField(source="mass_mg")
    read_expanded_mg = serializers.IntegerField(source="read_u_mg", allow_null=True)
    weighed = serializers.BooleanField(source="is_weighed")
    knowledge = serializers.CharField()
    adjusted_mg = serializers.IntegerField(allow_null=True)
    expanded_mg = serializers.IntegerField(source="u_mg", allow_null=True)
    others_mg = serializers.IntegerField(allow_null=True)
    others_expanded_mg = serializers.IntegerField(source="others_u_mg", allow_null=True)
    z = serializers.FloatField(allow_null=True)
    suspect = serializers.BooleanField(source="is_suspect")
    movements = serializers.ListField(child=serializers.IntegerField())
    scales = serializers.ListField(child=serializers.CharField())


class FrameOutOfLineAnswer(serializers.Serializer[Any]):
    """A frame whose own weighings disagree."""

    tag = serializers.CharField(source="subject")
    gap_mg = serializers.IntegerField()
    expanded_mg = serializers.IntegerField(source="u_mg")
    z = serializers.FloatField()
    movements = serializers.ListField(child=serializers.IntegerField())


class ReconciliationAnswer(serializers.Serializer[Any]):
    """`p` is the chance of gaps this large if every weighing was sound; null if nothing checks.
    `lenient` months have readings of an earlier model of a scale and are tested by its rule."""

    label = serializers.CharField()  # type: ignore[assignment]
    verdict = serializers.CharField()
    p = serializers.FloatField(allow_null=True)
    degrees_of_freedom = serializers.IntegerField()
    lenient = serializers.BooleanField(source="is_lenient")
    balances = MonthBalanceAnswer(many=True)
    streams = MonthStreamAnswer(many=True, source="flows")
    out_of_line = FrameOutOfLineAnswer(many=True)
    unchecked_places = serializers.SerializerMethodField()
    count_again = serializers.SerializerMethodField()

    def get_unchecked_places(self, data: reconciled.Reconciled) -> list[str]:
        return [place.code for place in data.waiting]

    def get_count_again(self, data: reconciled.Reconciled) -> list[str]:
        return [place.code for place in data.recount]


class OfMonth(Detail):
    """Show whether one month's weighings agree with each other, flow by flow and place by place.

    Masses are in mg, with expanded uncertainties (k = 2); `z` is in standard deviations. Nothing is
    written. Answers `not-found` for a label that is no month.
    """

    scope = "accounts"
    answer_class = ReconciliationAnswer

    def instance(self) -> reconciled.Reconciled:
        label = self.kwargs["label"]
        months.parsed(label)
        return reconciled.of_month(label)
