"""Recipe cards: planned, weighed at the press, dropped; and versions of the recipes of blends."""

from __future__ import annotations

from typing import Any

from django.utils.translation import gettext as _
from rest_framework import serializers

from inventory.errors import BadInput
from inventory.furniture.api import filters
from inventory.furniture.api.shapes import (
    Body,
    Code,
    KnownCode,
    Moment,
    ScaleName,
    Scanned,
    TypedMass,
    found,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.masters import rules as masters
from inventory.material.queries import cards as queries
from inventory.material.rules import cards, material
from inventory.models import Colour, Polymer, RecipeCard
from inventory.models.materials import WHOLE_PPM
from inventory.weighing import rules as weighing
from inventory.weighing.sums.masses import MassTextError, parse_mass_mg
from returns.stock.api import IssuedLotBody


class CardFilter(filters.FilterSet):
    state = filters.ChoiceFilter(choices=RecipeCard.State.choices)
    batch_code = filters.CharFilter(max_length=material.BATCH_CODE_LENGTH_MAX)
    blend = filters.CharFilter(field_name="blend__code", max_length=20)


class CardShareAnswer(serializers.Serializer[Any]):
    """A colour's share in parts per million; `reached_ppm` is 0 before the card is weighed."""

    colour = serializers.CharField()
    wanted_ppm = serializers.IntegerField()
    reached_ppm = serializers.IntegerField()
    mass_mg = serializers.IntegerField()
    is_kept = serializers.BooleanField()


class CardLineAnswer(serializers.Serializer[Any]):
    lot = Code()
    wanted_mg = serializers.IntegerField()


class CardAnswer(serializers.Serializer[RecipeCard]):
    """A recipe card. Masses are in mg, shares in parts per million of the mass."""

    code = serializers.CharField()
    state = serializers.CharField()
    blend = Code()
    polymer = Code()
    total_mg = serializers.IntegerField()
    recipe_version = serializers.IntegerField()
    tolerance_ppm = serializers.IntegerField()
    batch_code = serializers.CharField()
    wanted_for = serializers.CharField()
    like = Code(allow_null=True)
    made_at = Moment()
    reason = serializers.CharField()
    movement = serializers.IntegerField(source="movement.number", allow_null=True, default=None)
    lines = CardLineAnswer(many=True)
    shares = serializers.SerializerMethodField()

    def get_shares(self, card: RecipeCard) -> list[dict[str, Any]]:
        rows = queries.weighed(card, queries.taken_of(card))
        return [dict(CardShareAnswer(row).data) for row in rows]


class PlanBody(Body):
    """Either a blend, or `like`: the card whose blend, recipe and polymer it repeats."""

    blend = KnownCode(
        lambda: Colour.objects.filter(kind=Colour.Kind.BLEND), required=False, allow_null=True
    )
    polymer = KnownCode(Polymer.objects.all, required=False, allow_null=True)
    mass = TypedMass(
        required=False, help_text="As written, for example 25 kg. Left out, that of `like`."
    )
    batch_code = serializers.CharField(max_length=material.BATCH_CODE_LENGTH_MAX)
    wanted_for = serializers.CharField(max_length=cards.WANTED_FOR_LENGTH_MAX, required=False)
    like = KnownCode(
        lambda: RecipeCard.objects.select_related("blend", "polymer"),
        required=False,
        allow_null=True,
    )


class Cards(ActionView, Listing):
    """GET lists the recipe cards, newest first; POST plans one from the lots of today.

    Nothing is set aside. With `like` a card is repeated by its own recipe, whatever the blend's is
    by now. POST answers `bad-input` for what is no blend, and `conflict` when the lots on hand do
    not make the recipe.
    """

    scope = "bench"
    read_scope = "read"
    serializer_class = CardAnswer
    filterset_class = CardFilter
    queryset = RecipeCard.objects.select_related(
        "blend", "polymer", "like", "movement"
    ).prefetch_related("lines__lot")
    body_class = PlanBody
    made_class = CardAnswer

    def perform(self, data: dict[str, Any]) -> RecipeCard:
        like: RecipeCard | None = data.get("like")
        blend = data.get("blend") or (like.blend if like else None)
        polymer = data.get("polymer") or (like.polymer if like else None)
        if blend is None or polymer is None:
            raise BadInput(_("Name a blend and a polymer, or the card to repeat."), field="blend")
        wanted = cards.Wanted(
            blend=blend,
            polymer=polymer,
            total_mg=_mass_mg(data["mass"]) if data.get("mass") else (like.total_mg if like else 0),
            batch_code=data["batch_code"],
            wanted_for=data.get("wanted_for") or (like.wanted_for if like else ""),
            like=like,
        )
        return cards.plan(key=self.action_key, wanted=wanted, at=self.at, by=self.by)


class OneCard(Detail):
    """Show a recipe card: its lots, and the shares wanted and reached.

    Answers `not-found` for another code.
    """

    scope = "read"
    answer_class = CardAnswer

    def instance(self) -> RecipeCard:
        card: RecipeCard = found(Cards.queryset.all(), code=self.kwargs["code"])
        return card


class CardAction(ActionView):
    """An action on one card."""

    scope = "bench"
    made_class = CardAnswer
    made_status = 200

    def card(self) -> RecipeCard:
        card: RecipeCard = found(Cards.queryset.all(), code=self.kwargs["code"])
        return card


class WeighCardBody(Body):
    scale = ScaleName()
    lots = serializers.ListSerializer[Any](child=IssuedLotBody(), min_length=1, max_length=50)
    scanned = serializers.ListField(
        child=Scanned(), max_length=50, help_text="The label of each of these lots."
    )
    reason = serializers.CharField(
        max_length=cards.REASON_LENGTH_MAX,
        allow_blank=True,
        default="",
        help_text="Why a share misses the recipe; needed beyond the tolerance.",
    )


class CardWeighings(CardAction):
    """Issue what was weighed for a card, each lot proved by its scanned label.

    Answers `bad-input` for a lot that is not of the recipe, one named twice, and (`reason`) a share
    beyond its tolerance that nobody explains; `wrong-scan`, `not-enough`; and `stale-state` when
    the card is weighed or dropped.
    """

    body_class = WeighCardBody

    def perform(self, data: dict[str, Any]) -> RecipeCard:
        lots = {one["lot"]: one["mass"] for one in data["lots"]}
        # The dictionary would silently keep the last of two masses.
        if len(lots) < len(data["lots"]):
            raise BadInput(_("A lot is named twice. Weigh it once."), field="lots")
        return cards.weigh(
            key=self.action_key,
            card=self.card(),
            lots=lots,
            scanned=data["scanned"],
            scale=data["scale"],
            reason=data["reason"],
            at=self.at,
            by=self.by,
        )


class CardDrops(CardAction):
    """Drop a card that is not wanted any more. Answers `stale-state` once it is weighed."""

    def perform(self, _data: dict[str, Any]) -> RecipeCard:
        return cards.drop(key=self.action_key, card=self.card(), at=self.at, by=self.by)


class RecipeShareBody(Body):
    colour = KnownCode(Colour.objects.all)
    share_ppm = serializers.IntegerField(min_value=1, max_value=WHOLE_PPM)


class RecipeBody(Body):
    version = serializers.IntegerField(min_value=1, help_text="`recipe_version` as it was seen.")
    shares = serializers.ListSerializer[Any](
        child=RecipeShareBody(), min_length=2, max_length=masters.SHARES_MAX
    )
    tolerance_ppm = serializers.IntegerField(min_value=1, max_value=WHOLE_PPM)
    is_marbled = serializers.BooleanField()


class BlendAnswer(serializers.Serializer[Colour]):
    """A blend's recipe as it is now, in parts per million of the mass."""

    code = serializers.CharField()
    name = serializers.CharField()
    recipe_version = serializers.IntegerField()
    tolerance_ppm = serializers.IntegerField()
    shares = serializers.SerializerMethodField()

    def get_shares(self, blend: Colour) -> dict[str, int]:
        return dict(queries.current(blend).shares)


class Recipes(ActionView):
    """Give a blend a new version of its recipe. Cards that are made keep the one they have.

    The shares are parts per million and add up to 1 000 000. Answers `bad-input` for a recipe that
    will not do, and `stale-state` when another version is in use by now.
    """

    scope = "owner"
    body_class = RecipeBody
    made_class = BlendAnswer

    def perform(self, data: dict[str, Any]) -> Colour:
        recipe = masters.NewRecipe(
            shares=tuple((one["colour"], one["share_ppm"]) for one in data["shares"]),
            tolerance_ppm=data["tolerance_ppm"],
            is_marbled=data["is_marbled"],
        )
        blend: Colour = found(Colour.objects.all(), code=self.kwargs["code"])
        return masters.change_recipe(
            key=self.action_key,
            blend=blend,
            version=data["version"],
            data=recipe,
            at=self.at,
            by=self.by,
        )


def _mass_mg(text: str) -> int:
    try:
        return parse_mass_mg(text)
    except MassTextError as error:
        raise BadInput(weighing.refusal(error), field="mass") from error
