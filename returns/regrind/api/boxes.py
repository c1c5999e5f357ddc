"""Regrind boxes, flake lots and balances: what lies where, of what class and heat."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.furniture.api import filters
from inventory.furniture.api.shapes import Code, KnownMass, Moment, found, known_mass
from inventory.furniture.api.views import Detail, Listing
from inventory.material.queries import boxes
from inventory.models import Balance, Colour, GrindRun, Lot, Origin, Place, PlaceKind, Polymer, Unit
from inventory.weighing.queries import traced


class ClassFilter(filters.FilterSet):
    polymer = filters.ModelChoiceFilter(queryset=Polymer.objects.all(), to_field_name="code")
    colour = filters.ModelChoiceFilter(queryset=Colour.objects.all(), to_field_name="code")
    origin = filters.ChoiceFilter(choices=Origin.choices)


class HeatShare(serializers.Serializer[Any]):
    passes = serializers.IntegerField()
    ppm = serializers.IntegerField(help_text="Parts per million of the mass.")


def known_now(context: Mapping[str, Any], place: Place | None) -> dict[str, Any]:
    """Return the uncertainty of a place's mass; the books are replayed once in an answer."""
    request = context["request"]
    # Kept on the request: a list has a hundred places, and one replay of the books gives them all.
    if not hasattr(request, "known_masses"):
        request.known_masses = traced.of_every_place()
    return known_mass(request.known_masses.get(place.code) if place else None)


def heat_shares(pairs: list[list[int]]) -> list[dict[str, int]]:
    """Return heat passes as the API shows them."""
    return [{"passes": passes, "ppm": ppm} for passes, ppm in pairs]


class BoxAnswer(serializers.Serializer[Place]):
    """`heat` is null for an empty box. `last_movement` changes whenever the box does."""

    code = serializers.CharField()
    polymer = Code()
    colour = Code()
    origin = serializers.CharField()
    mass_mg = serializers.SerializerMethodField()
    known = serializers.SerializerMethodField()
    last_movement = serializers.SerializerMethodField()
    heat = serializers.SerializerMethodField()
    open_run = serializers.SerializerMethodField()

    def to_representation(self, place: Place) -> Any:
        # Asked once for a row, before the fields that all read from it.
        self.inside = boxes.contents(place)
        return super().to_representation(place)

    def get_mass_mg(self, _place: Place) -> int:
        return self.inside.mass_mg

    @extend_schema_field(KnownMass)
    def get_known(self, place: Place) -> dict[str, Any]:
        return known_now(self.context, place)

    def get_last_movement(self, _place: Place) -> int:
        return self.inside.last_movement

    @extend_schema_field(HeatShare(many=True, allow_null=True))
    def get_heat(self, _place: Place) -> list[dict[str, int]] | None:
        return heat_shares(self.inside.heat.to_list()) if self.inside.heat else None

    def get_open_run(self, place: Place) -> str | None:
        run = boxes.open_run(place)
        return run.code if run else None


class Boxes(Listing):
    """List the regrind boxes, each with what it holds now.

    Masses are in mg, with the expanded uncertainty in µg (k = 2). Heat is told in parts per million
    of the mass at each number of passes.
    """

    scope = "read"
    serializer_class = BoxAnswer
    filterset_class = ClassFilter
    queryset = Place.objects.filter(kind=PlaceKind.BOX).select_related("polymer", "colour")


class OneBox(Detail):
    """Show one regrind box and what it holds now, in mg. Answers `not-found` for another code."""

    scope = "read"
    answer_class = BoxAnswer

    def instance(self) -> Place:
        place: Place = found(Boxes.queryset.all(), code=self.kwargs["code"])
        return place


class LotAnswer(serializers.Serializer[Lot]):
    code = serializers.CharField()
    polymer = Code()
    colour = Code()
    origin = serializers.CharField()
    mass_mg = serializers.SerializerMethodField()
    known = serializers.SerializerMethodField()
    heat = serializers.SerializerMethodField()
    supplier_note = serializers.CharField()
    melt_flow_mg_per_10min = serializers.IntegerField(allow_null=True)
    melt_flow_tolerance_mg = serializers.IntegerField(allow_null=True)
    made_at = Moment()
    run = serializers.SerializerMethodField()

    def get_mass_mg(self, lot: Lot) -> int:
        place = getattr(lot, "place", None)
        return boxes.held_mg(place) if place else 0

    @extend_schema_field(KnownMass)
    def get_known(self, lot: Lot) -> dict[str, Any]:
        return known_now(self.context, getattr(lot, "place", None))

    @extend_schema_field(HeatShare(many=True))
    def get_heat(self, lot: Lot) -> list[dict[str, int]]:
        return heat_shares(lot.heat)

    def get_run(self, lot: Lot) -> str | None:
        run: GrindRun | None = getattr(lot, "run", None)
        return run.code if run else None


class Lots(Listing):
    """List the flake lots, newest first, each with what is left of it.

    Masses are in mg, with the expanded uncertainty in µg (k = 2). Melt flow is in mg per 10
    minutes.
    """

    scope = "read"
    serializer_class = LotAnswer
    filterset_class = ClassFilter
    queryset = Lot.objects.select_related("polymer", "colour", "place", "run")


class OneLot(Detail):
    """Show one flake lot and what is left of it, in mg. Answers `not-found` for another code."""

    scope = "read"
    answer_class = LotAnswer

    def instance(self) -> Lot:
        lot: Lot = found(Lots.queryset.all(), code=self.kwargs["code"])
        return lot


class BalanceFilter(filters.FilterSet):
    kind = filters.ChoiceFilter(field_name="place__kind", choices=PlaceKind.choices)
    unit = filters.ChoiceFilter(field_name="place__unit", choices=Unit.choices)


class BalanceAnswer(serializers.Serializer[Balance]):
    """Exactly one of `mass_mg` and `pieces` is a number. Only the outside may be below zero.

    `known` is null where pieces are counted.
    """

    place = Code()
    kind = serializers.CharField(source="place.kind")
    mass_mg = serializers.SerializerMethodField()
    known = serializers.SerializerMethodField()
    pieces = serializers.SerializerMethodField()
    polymer = Code(source="place.polymer", allow_null=True)
    colour = Code(source="place.colour", allow_null=True)
    origin = serializers.CharField(source="place.origin")
    lot = Code(source="place.lot", allow_null=True)
    part = Code(source="place.part", allow_null=True)

    def get_mass_mg(self, balance: Balance) -> int | None:
        return balance.quantity if balance.place.unit == Unit.MILLIGRAM else None

    @extend_schema_field(KnownMass(allow_null=True))
    def get_known(self, balance: Balance) -> dict[str, Any] | None:
        is_mass = balance.place.unit == Unit.MILLIGRAM
        return known_now(self.context, balance.place) if is_mass else None

    def get_pieces(self, balance: Balance) -> int | None:
        return balance.quantity if balance.place.unit == Unit.PIECE else None


class Balances(Listing):
    """List what every place holds now: material in mg, parts in pieces.

    A balance of mass comes with its expanded uncertainty in µg (k = 2).
    """

    scope = "read"
    serializer_class = BalanceAnswer
    filterset_class = BalanceFilter
    queryset = Balance.objects.select_related(
        "place__polymer", "place__colour", "place__lot", "place__part"
    )
