"""How easy each model is to repair."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api.views import Detail
from returns.figures.repairability import queries as repairability
from returns.figures.repairability.queries import ModelProfile


class ProfileAnswer(serializers.Serializer[ModelProfile]):
    """Scores 1 to 5, none for a model whose scores are incomplete. Borrowed from EN 45554 and
    (EU) 2023/1669, which are for other goods: no conformity and no class is claimed."""

    model = serializers.CharField(source="model.code")
    score = serializers.DecimalField(
        source="profile.score", max_digits=6, decimal_places=4, default=None, allow_null=True
    )
    by_part = serializers.DictField(
        source="profile.by_part", child=serializers.FloatField(), default=dict
    )
    by_aspect = serializers.DictField(
        source="profile.by_aspect", child=serializers.FloatField(), default=dict
    )
    missing = serializers.ListField(
        child=serializers.CharField(), help_text="Components without scores."
    )


class ProfilesAnswer(serializers.Serializer[Any]):
    models = ProfileAnswer(many=True)


class Profiles(Detail):
    """Show how easy each model that is still served is to repair, in scores from 1 to 5.

    A model whose scores are incomplete has none, and `missing` names the parts without.
    """

    scope = "read"
    answer_class = ProfilesAnswer

    def instance(self) -> dict[str, Any]:
        return {"models": repairability.profiles()}
