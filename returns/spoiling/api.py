"""Spoiled pairs and scrap of a batch, by material; the yield of each step."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api import filters
from inventory.furniture.api.shapes import (
    Body,
    KnownCode,
    Moment,
    Pieces,
    ScaleName,
    TypedMass,
    found,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.ledger.api import MovementAnswer
from inventory.material.rules.material import Weighing
from inventory.models import Colour, Movement, Spoiled, Step
from returns.models import ProductionBatch
from returns.spoiling import queries, rules
from returns.spoiling.sums import Cause


class SpoiledFilter(filters.FilterSet):
    batch = filters.CharFilter(field_name="batch_code", max_length=20)
    step = filters.ChoiceFilter(choices=Step.choices)
    cause = filters.CharFilter(max_length=20)


class SpoiledAnswer(serializers.Serializer[Spoiled]):
    """A heap of spoiled pairs. Where front and arms differ, the pairs count with their first."""

    batch = serializers.CharField(source="batch_code")
    step = serializers.CharField()
    cause = serializers.CharField()
    pieces = serializers.IntegerField()
    mass_mg = serializers.IntegerField(source="posting.quantity")
    place = serializers.CharField(source="posting.target.code")
    movement = serializers.IntegerField(source="posting.movement.number")
    at = Moment(source="posting.movement.happened_at")


class SpoiledPairs(Listing):
    """List the spoiled pairs that were booked and not taken back, with step, cause and mass."""

    scope = "read"
    serializer_class = SpoiledAnswer
    filterset_class = SpoiledFilter
    queryset = Spoiled.objects.filter(posting__movement__reversed_by=None).select_related(
        "posting__movement", "posting__target"
    )


class ScrapHeapBody(Body):
    mass = TypedMass()
    colour = KnownCode(
        Colour.objects.all,
        required=False,
        allow_null=True,
        help_text="Of its box. Needed where front and arms differ in material.",
    )


class SpoilBody(Body):
    step = serializers.ChoiceField(choices=Step.choices)
    cause = serializers.CharField(max_length=20, help_text="A code of the owner's list.")
    pieces = Pieces()
    into = serializers.ChoiceField(choices=[rules.BOX, rules.WASTE], default=rules.BOX)
    scale = ScaleName()
    heaps = serializers.ListSerializer[Any](
        child=ScrapHeapBody(), min_length=1, max_length=rules.HEAPS_MAX
    )


def _batch(view: ActionView) -> ProductionBatch:
    rows = ProductionBatch.objects.select_related("colourway__polymer", "colourway__colour")
    batch: ProductionBatch = found(rows, code=view.kwargs["code"])
    return batch


class BatchSpoiled(ActionView):
    """Book spoiled pairs of a batch: at which step, by which cause, how many, and each heap.

    Masses are text in grams or kilograms. Answers `bad-input` for an unknown step or cause, more
    pairs than came so far, and a box that does not take what lies in the heap.
    """

    scope = "bench"
    body_class = SpoilBody
    made_class = MovementAnswer

    def perform(self, data: dict[str, Any]) -> Movement:
        named = {name: data[name] for name in ("step", "cause", "pieces", "into")}
        return rules.book(
            key=self.action_key,
            batch=_batch(self),
            what=rules.What(**named),
            scale=data["scale"],
            heaps=[
                rules.ScrapHeap(mass=one["mass"], into=one.get("colour")) for one in data["heaps"]
            ],
            at=self.at,
            by=self.by,
        )


class BatchScrapBody(ScrapHeapBody):
    scale = ScaleName()


class BatchScrap(ActionView):
    """Put sprues and runners of a batch into the box of their material, with its heat passes.

    The mass is text in grams or kilograms. Answers `bad-input` where front and arms differ and no
    `colour` says which box, or its box does not take it.
    """

    scope = "bench"
    body_class = BatchScrapBody
    made_class = MovementAnswer

    def perform(self, data: dict[str, Any]) -> Movement:
        return rules.return_scrap(
            key=self.action_key,
            batch=_batch(self),
            into=data.get("colour"),
            weighing=Weighing(scale=data["scale"], mass=data["mass"]),
            at=self.at,
            by=self.by,
        )


class StepYieldAnswer(serializers.Serializer[Any]):
    """Pairs; `share` is what came good out of the step, null where none entered."""

    step = serializers.CharField()
    entered = serializers.IntegerField()
    spoiled = serializers.IntegerField()
    share = serializers.FloatField(allow_null=True)


class BatchYieldAnswer(serializers.Serializer[Any]):
    batch = serializers.CharField(source="batch.code")
    steps = StepYieldAnswer(many=True)
    rolled = serializers.FloatField(help_text="The product of the shares of the steps.")


class CauseAnswer(serializers.Serializer[Cause]):
    step = serializers.SerializerMethodField()
    cause = serializers.SerializerMethodField()
    pieces = serializers.IntegerField()
    share = serializers.FloatField()

    def get_step(self, cause: Cause) -> str:
        return cause.key[0]

    def get_cause(self, cause: Cause) -> str:
        return cause.key[1]


class YieldsAnswer(serializers.Serializer[Any]):
    batches = BatchYieldAnswer(many=True)
    causes = CauseAnswer(many=True)


class Yields(Detail):
    """Show the newest batches with something spoiled, in the order of making, and all causes.

    Shares are of pairs, 0 to 1. A batch of which nothing spoiled is booked is not here.
    """

    scope = "read"
    answer_class = YieldsAnswer

    def instance(self) -> queries.Overview:
        return queries.overview()
