"""What the sums know: learned odds and minutes, salvage matches and promises, blends."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.errors import BadInput
from inventory.furniture.api.shapes import Body, Code, Known, KnownMass, Moment
from inventory.furniture.api.views import DeedView, Detail
from inventory.ledger.api import currency
from inventory.material.queries import blends
from inventory.material.sums.blending import BadRecipe, ColourShare, Recipe
from inventory.material.sums.heat import PASSES_MAX, WHOLE_PPM
from inventory.models import Colour, Lot, Polymer
from inventory.weighing.sums.masses import MASS_MG_MAX
from returns.furniture.api.lookups import Spoken, colourway_code
from returns.grading.queries import learning
from returns.grading.queries.learning import Learned
from returns.grading.sums.evidence import Estimate
from returns.models import PartPromise, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.regrind.api.boxes import HeatShare, heat_shares, known_now
from returns.salvage import rules as salvaging
from returns.salvage.queries import donors as salvage
from returns.salvage.queries.donors import Board, MonthSaving, Pair
from returns.salvage.rules import Match


class EstimateAnswer(serializers.Serializer[Estimate]):
    """The mean and its central credible interval; `prior_share` still rests on the typed figure."""

    mean = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    outcomes = serializers.IntegerField(source="evidence_count")
    prior_share = serializers.FloatField()


class LearnedAnswer(serializers.Serializer[Learned]):
    remedy = Code(by="key")
    name = serializers.CharField(source="remedy.name")
    in_use = serializers.BooleanField(source="remedy.active")
    typed_odds_ppm = serializers.IntegerField(source="remedy.odds_ppm")
    typed_minutes = serializers.IntegerField(source="remedy.minutes")
    worked = serializers.IntegerField(source="tally.worked")
    failed = serializers.IntegerField(source="tally.failed")
    timed = serializers.IntegerField(source="tally.timed")
    odds = EstimateAnswer()
    minutes = EstimateAnswer(allow_null=True)


class LearningAnswer(serializers.Serializer[Any]):
    """`weight`: how many cases the typed figures count for. `level`: of the intervals."""

    weight = serializers.IntegerField()
    level = serializers.FloatField()
    remedies = LearnedAnswer(many=True)


class Learning(Detail):
    """What the workshop's own outcomes say of each remedy."""

    scope = "read"
    answer_class = LearningAnswer

    def thing(self) -> dict[str, Any]:
        return {
            "weight": int(learning.WEIGHT),
            "level": learning.LEVEL,
            "remedies": learning.learned(),
        }


class PairAnswer(serializers.Serializer[Pair]):
    """`donor` is null where `reason` is not "matched"."""

    frame = Code(source="lack.frame", by="tag")
    colourway = serializers.SerializerMethodField()
    component = serializers.CharField(source="lack.component")
    part = serializers.CharField(source="lack.part")
    donor = serializers.SerializerMethodField()
    reason = serializers.CharField()

    def get_colourway(self, pair: Pair) -> str | None:
        way = pair.lack.frame.colourway
        return colourway_code(way) if way else None

    def get_donor(self, pair: Pair) -> str | None:
        return pair.gift.donor.tag if pair.gift else None


class PromiseAnswer(serializers.Serializer[PartPromise]):
    donor = Code(by="tag")
    component = serializers.CharField()
    frame = Code(by="tag")
    part = Code()
    state = serializers.CharField()
    made_at = Moment()
    ended_at = Moment(allow_null=True)


class BoardAnswer(serializers.Serializer[Board]):
    """`in_order` is how many frames first come, first served would help."""

    matches = PairAnswer(many=True, source="pairs")
    frames_helped = serializers.IntegerField(source="saved")
    in_order = serializers.IntegerField()
    promises = PromiseAnswer(many=True)
    ready = serializers.SerializerMethodField(help_text="Held frames whose parts have come.")
    take_off_cost_minor = serializers.IntegerField(source="take_off_minor")
    currency = serializers.SerializerMethodField()

    def get_ready(self, board: Board) -> list[str]:
        return [frame.tag for frame in board.ready]

    def get_currency(self, _board: Board) -> str:
        return currency(self.context)


class Salvage(Detail):
    """Which part of a waiting donor would best help which frame; what is promised already."""

    scope = "read"
    answer_class = BoardAnswer

    def thing(self) -> Board:
        return salvage.board()


class SavingAnswer(serializers.Serializer[MonthSaving]):
    """A month: `best` and `in_order` are frames that could be mended, at so much labour each."""

    month = serializers.CharField()
    frames = serializers.IntegerField(help_text="Frames that began to wait for parts.")
    several = serializers.IntegerField(help_text="Of these, lacking more than one piece.")
    parts = serializers.IntegerField(help_text="Donors' parts that began to wait.")
    contested = serializers.IntegerField(
        help_text="Parts that more than one frame began to want at once."
    )
    best = serializers.IntegerField()
    in_order = serializers.IntegerField()
    best_minor = serializers.IntegerField()
    in_order_minor = serializers.IntegerField()


class PastAnswer(serializers.Serializer[Any]):
    months = SavingAnswer(many=True)


class PastYear(Detail):
    """The last twelve months played again: the best matching, and first come, first served."""

    scope = "read"
    answer_class = PastAnswer

    def thing(self) -> dict[str, Any]:
        return {"months": salvage.history(timezone.now())}


class FrameTag(Spoken):
    def __init__(self, **options: Any) -> None:
        super().__init__(ReturnedFrame.objects.all, prefix="F", by="tag", **options)


class GiftBody(Body):
    donor = FrameTag()
    component = serializers.ChoiceField(choices=ComponentKey.values)


class MatchBody(GiftBody):
    frame = FrameTag()


class Promises(DeedView):
    """Approve a match: the donor's part is kept for the frame when the donor is stripped."""

    scope = "bench"
    body_class = MatchBody
    made_class = PromiseAnswer

    def do(self, said: dict[str, Any]) -> PartPromise:
        match = Match(**said)
        return salvaging.approve(key=self.deed_key, match=match, at=self.at, by=self.by)


class Withdrawals(DeedView):
    """Take an open promise back."""

    scope = "bench"
    body_class = GiftBody
    made_class = PromiseAnswer
    made_status = 200

    def do(self, said: dict[str, Any]) -> PartPromise:
        return salvaging.withdraw(key=self.deed_key, at=self.at, by=self.by, **said)


class Ppm(serializers.IntegerField):
    """A share in parts per million."""

    def __init__(self, **options: Any) -> None:
        super().__init__(min_value=0, max_value=WHOLE_PPM, **options)


class Limit(serializers.DecimalField):
    """A limit above zero; leave it out for none."""

    def __init__(self, largest: int, **options: Any) -> None:
        super().__init__(
            min_value=Decimal("0.01"),
            max_value=largest,
            max_digits=8,
            decimal_places=3,
            required=False,
            allow_null=True,
            default=None,
            **options,
        )


class ColourBody(Body):
    colour = Known(Colour.objects.all)
    ppm_min = Ppm(default=0)
    ppm_max = Ppm(default=WHOLE_PPM)


class BlendBody(Body):
    """Melt flow in g/10 min. Heat passes are counted as fed, before this moulding."""

    polymer = Known(Polymer.objects.all)
    mass_mg = serializers.IntegerField(min_value=1, max_value=MASS_MG_MAX)
    regrind_ppm_max = Ppm(required=False, allow_null=True, default=None)
    mean_passes_max = Limit(PASSES_MAX)
    passes_max = serializers.IntegerField(
        min_value=0, max_value=PASSES_MAX, required=False, allow_null=True, default=None
    )
    melt_flow_min = Limit(1000)
    melt_flow_max = Limit(1000)
    colours = serializers.ListSerializer[Any](child=ColourBody(), required=False, max_length=20)

    def recipe(self, said: dict[str, Any]) -> Recipe:
        """The recipe as the sums know it. BadInput when its limits contradict one another."""
        floats = ("mean_passes_max", "melt_flow_min", "melt_flow_max")
        try:
            return Recipe(
                total_mg=said["mass_mg"],
                regrind_ppm_max=said["regrind_ppm_max"],
                passes_max=said["passes_max"],
                colours=tuple(
                    ColourShare(
                        colour=one["colour"].code, ppm_min=one["ppm_min"], ppm_max=one["ppm_max"]
                    )
                    for one in said.get("colours", ())
                ),
                **{name: None if said[name] is None else float(said[name]) for name in floats},
            )
        except BadRecipe as error:
            raise BadInput(_(error.template)) from error


class PortionAnswer(serializers.Serializer[Any]):
    lot = Code()
    mass_mg = serializers.IntegerField()
    held_mg = serializers.IntegerField()
    held_known = serializers.SerializerMethodField()

    @extend_schema_field(KnownMass)
    def get_held_known(self, portion: blends.Portion) -> dict[str, Any]:
        return known_now(self.context, getattr(portion.lot, "place", None))


class MeltFlowAnswer(serializers.Serializer[Any]):
    """g/10 min with the range of the lots' tolerances (k = 2). Beyond the rule, measure."""

    rate = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    ratio = serializers.FloatField()
    beyond_rule = serializers.BooleanField()


class MixAnswer(serializers.Serializer[Any]):
    portions = PortionAnswer(many=True)
    regrind_ppm = serializers.FloatField()
    melt_flow = MeltFlowAnswer(allow_null=True)
    heat_as_fed = HeatShare(many=True)
    heat_moulded = HeatShare(many=True)


class LeftOutAnswer(serializers.Serializer[Any]):
    lot = serializers.CharField()
    reason = serializers.CharField()


class ObstacleAnswer(serializers.Serializer[Any]):
    """The limit and the figure it would have to take, in the unit of the request."""

    limit = serializers.CharField()
    subject = serializers.CharField()
    bound = serializers.FloatField()
    eased_to = serializers.FloatField()
    by = serializers.FloatField()


class BlendAnswer(serializers.Serializer[Any]):
    """`blend` is null where no blend keeps all limits: each of `alone` then suffices by itself."""

    blend = MixAnswer(allow_null=True)
    left_out = LeftOutAnswer(many=True)
    alone = ObstacleAnswer(many=True)
    together = ObstacleAnswer(many=True)


class Blends(DeedView):
    """Work out a blend, oldest lots first, or which limit forbids it. Nothing is moved."""

    scope = "bench"
    body_class = BlendBody
    made_class = BlendAnswer
    made_status = 200

    def do(self, said: dict[str, Any]) -> dict[str, Any]:
        recipe = BlendBody().recipe(said)
        answer = blends.compute(polymer=said["polymer"], recipe=recipe, at=self.at)
        return {
            "blend": _mix(answer),
            "left_out": [_left_out(lot, reason) for lot, reason in answer.left_out],
            "alone": answer.alone,
            "together": answer.together,
        }


def _mix(answer: blends.Answer) -> dict[str, Any] | None:
    if answer.blend is None or answer.moulded is None:
        return None
    return {
        "portions": answer.portions,
        "regrind_ppm": answer.blend.regrind_ppm,
        "melt_flow": answer.blend.melt_flow,
        "heat_as_fed": heat_shares(answer.blend.spread.to_list()),
        "heat_moulded": heat_shares(answer.moulded.to_list()),
    }


def _left_out(lot: Lot, reason: str) -> dict[str, str]:
    return {"lot": lot.code, "reason": str(reason)}


urlpatterns: list[URLPattern] = [
    path("learning/", Learning.as_view(), name="api-learning"),
    path("salvage/", Salvage.as_view(), name="api-salvage"),
    path("salvage/past-year/", PastYear.as_view(), name="api-salvage-past"),
    path("salvage/promises/", Promises.as_view(), name="api-salvage-promises"),
    path("salvage/withdrawals/", Withdrawals.as_view(), name="api-salvage-withdrawals"),
    path("blends/", Blends.as_view(), name="api-blends"),
]
