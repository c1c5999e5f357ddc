"""The catalogue: which frames there are, in which colours, made of what. Open to all."""

from __future__ import annotations

from rest_framework import serializers

from inventory.furniture.api.shapes import Code, found
from inventory.furniture.api.views import Detail, Listing
from inventory.models import BlendShare, Colour
from returns.furniture.api.lookups import colourway_code
from returns.kits import queries as kit_stock
from returns.models import Colourway, Component, DifferingComponent, FrameModel
from returns.models.catalogue import RimShape

# A colourway's code has its model's in it: prefetched back, it is not asked for each row.
ROWS = FrameModel.objects.filter(active=True).prefetch_related(
    "components__part",
    "colourways__colour__shares__of",
    "colourways__polymer",
    "colourways__model",
    "colourways__differing__colour",
    "colourways__differing__polymer",
    "colourways__differing__part",
)


class BlendShareAnswer(serializers.Serializer[BlendShare]):
    colour = Code(source="of")
    share_ppm = serializers.IntegerField(help_text="Parts per million of the mass.")


class DifferingAnswer(serializers.Serializer[DifferingComponent]):
    """A component that is otherwise than the rest: null where it is not."""

    component = serializers.CharField(source="key")
    polymer = Code(allow_null=True)
    colour = Code(allow_null=True)
    part = Code(allow_null=True)


class ColourwayAnswer(serializers.Serializer[Colourway]):
    """`polymer` and `colour` are those of every component of frame material but the `differing`.

    `recipe` is that of `colour` when it is a blend, else empty.
    """

    code = serializers.SerializerMethodField()
    name = serializers.CharField(source="words")
    colour = Code()
    colour_name = serializers.CharField(source="colour.name")
    colour_kind = serializers.ChoiceField(source="colour.kind", choices=Colour.Kind.values)
    swatch = serializers.CharField(source="colour.swatch")
    veins = serializers.SerializerMethodField()
    recipe = BlendShareAnswer(source="colour.shares", many=True)
    polymer = Code()
    lens_tint = serializers.CharField()
    differing = DifferingAnswer(many=True)
    active = serializers.BooleanField()

    def get_code(self, colourway: Colourway) -> str:
        return colourway_code(colourway)

    def get_veins(self, colourway: Colourway) -> list[str]:
        return colourway.colour.veins.split()


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
