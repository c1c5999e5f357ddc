"""The catalogue: which frames there are, in which colours, made of what. Open to all."""

from __future__ import annotations

from rest_framework import serializers

from inventory.furniture.api.shapes import Code, found
from inventory.furniture.api.views import Detail, Listing
from returns.furniture.api.lookups import colourway_code
from returns.kits import queries as kit_stock
from returns.models import Colourway, Component, FrameModel
from returns.models.catalogue import RimShape

# A colourway's code has its model's in it: prefetched back, it is not asked for each row.
ROWS = FrameModel.objects.filter(active=True).prefetch_related(
    "components__part", "colourways__colour", "colourways__polymer", "colourways__model"
)


class ColourwayAnswer(serializers.Serializer[Colourway]):
    code = serializers.SerializerMethodField()
    colour = Code()
    colour_name = serializers.CharField(source="colour.name")
    swatch = serializers.CharField(source="colour.swatch")
    polymer = Code()
    active = serializers.BooleanField()

    def get_code(self, colourway: Colourway) -> str:
        return colourway_code(colourway)


class ComponentAnswer(serializers.Serializer[Component]):
    key = serializers.CharField()
    kind = serializers.CharField()
    nominal_mass_mg = serializers.IntegerField(source="nominal_mg")
    spread_mg = serializers.IntegerField()
    is_frame_material = serializers.BooleanField()
    in_kit = serializers.BooleanField()
    part = Code(allow_null=True)


class ModelAnswer(serializers.Serializer[FrameModel]):
    code = serializers.CharField()
    name = serializers.CharField()
    rim = serializers.ChoiceField(choices=RimShape.values)
    has_kit = serializers.SerializerMethodField()
    expected_life_months = serializers.IntegerField()
    colourways = ColourwayAnswer(many=True)
    components = ComponentAnswer(many=True)

    def get_has_kit(self, model: FrameModel) -> bool:
        return kit_stock.has_kit(model)


class Models(Listing):
    """List the frame models with their colourways and bills of materials. Masses are in mg."""

    scope = None
    serializer_class = ModelAnswer
    queryset = ROWS


class OneModel(Detail):
    """Show one frame model with its colourways and its bill of materials, in mg.

    Answers `not-found` for another code.
    """

    scope = None
    answer_class = ModelAnswer

    def instance(self) -> FrameModel:
        model: FrameModel = found(ROWS.all(), code=self.kwargs["code"])
        return model
