"""The sums for whoever brings the figures: weighings, sampling plans, mass fits, a grading tried.

Nothing is kept or moved by any of these. They are asked by POST, for what goes in is too much for
an address; only a sampling plan is a GET.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from django.urls import URLPattern, path
from django.utils import timezone
from django.utils.translation import gettext as _
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers

from inventory import clock
from inventory.errors import BadInput
from inventory.furniture.api.shapes import Body, Known, ScaleName, TypedMass
from inventory.furniture.api.views import DeedView, Detail
from inventory.weighing import rules as rule
from inventory.weighing.queries import readings
from inventory.weighing.sums import masses, weighing
from inventory.weighing.sums.weighing import Measured, Scale
from returns.arriving.queries import massfits
from returns.arriving.sums import massfit
from returns.arriving.sums.mass_hypotheses import Component, MassFitError
from returns.auditing import sums as sampling
from returns.figures.claims.sums.claims import InputRefused
from returns.grading.api import FrameDeed, LookBody, look_of
from returns.grading.rules import lookover
from returns.models import FrameModel

WEIGHINGS_MAX = 100
TIMES_MAX = 1000
NAME_MAX = 60
U_UG_MAX = 10**12


class Milligrams(serializers.IntegerField):
    def __init__(self, *, least: int = 1, **options: Any) -> None:
        super().__init__(min_value=least, max_value=masses.MASS_MG_MAX, **options)


class ScaleBody(Body):
    """A scale as its plate and its last check say. The name tells whose error is shared."""

    name = serializers.CharField(max_length=NAME_MAX)
    accuracy_class = serializers.ChoiceField(choices=list(weighing.BAND_ENDS_E))
    step_mg = Milligrams(help_text="The digital step d.")
    verification_mg = Milligrams(help_text="The verification step e, not below d.")
    minimum_mg = Milligrams(least=0)
    capacity_mg = Milligrams()
    check_due = serializers.DateField(required=False, allow_null=True, default=None)
    calibration_u_ug = serializers.IntegerField(
        required=False,
        allow_null=True,
        default=None,
        min_value=0,
        max_value=U_UG_MAX,
        help_text="Standard uncertainty of the check; without it the permissible error stands in.",
    )
    in_service = serializers.BooleanField(default=True)

    def validate(self, said: dict[str, Any]) -> dict[str, Any]:
        u_ug = said["calibration_u_ug"]
        try:
            said["as_sums"] = Scale(
                key=said["name"],
                resolution_d_mg=said["step_mg"],
                verification_e_mg=said["verification_mg"],
                accuracy_class=said["accuracy_class"],
                capacity_mg=said["capacity_mg"],
                minimum_mg=said["minimum_mg"],
                check_due=said["check_due"],
                calibration_u_mg=None if u_ug is None else u_ug / 1000,
                in_service=said["in_service"],
            )
        except weighing.BadScale as error:
            raise serializers.ValidationError(_(error.template)) from error
        return said


class WeighingBody(Body):
    """One reading on a scale of the workshop, named, or on one whose figures are sent along."""

    reading = TypedMass()
    scale = ScaleName(required=False)
    scale_figures = ScaleBody(required=False)
    tared = serializers.BooleanField(
        default=False, help_text="The tare key was pressed: two rounded figures stand behind it."
    )
    on = serializers.DateField(
        required=False, allow_null=True, default=None, help_text="Today if left out."
    )

    def validate(self, said: dict[str, Any]) -> dict[str, Any]:
        if ("scale" in said) == ("scale_figures" in said):
            raise serializers.ValidationError(_("Give either “scale” or “scale_figures”."))
        figures = said.get("scale_figures")
        scale = figures["as_sums"] if figures else readings.sums_scale(said["scale"])
        try:
            mass_mg = masses.parse_mass_mg(
                said["reading"],
                resolution_mg=scale.resolution_d_mg,
                capacity_mg=scale.capacity_mg,
            )
        except masses.MassTextError as error:
            raise serializers.ValidationError({"reading": rule.refusal(error)}) from error
        day = said["on"] or clock.day_of(timezone.now())
        return said | {
            "as_sums": scale,
            "measured": weighing.measure(scale, mass_mg, tared=said["tared"]),
            "flags": [flag.value for flag in weighing.flags(scale, mass_mg, day)],
        }


class SharedAnswer(serializers.Serializer[Any]):
    scale = serializers.CharField()
    u_mg = serializers.FloatField(help_text="With its sign: which way the scale's error works.")


class MeasuredAnswer(serializers.Serializer[Any]):
    """Standard uncertainties in mg: of the readings' own, per scale, and of both together."""

    mass_mg = serializers.IntegerField()
    own_u_mg = serializers.FloatField()
    shared = SharedAnswer(many=True)
    standard_u_mg = serializers.FloatField()
    expanded_u_mg = serializers.FloatField()
    coverage_factor = serializers.FloatField()


class WeighingAnswer(MeasuredAnswer):
    """One weighing; `flags` are reasons to trust it less."""

    permissible_error_mg = serializers.FloatField()
    flags = serializers.ListField(child=serializers.CharField())


class Calculation(DeedView):
    """Answers, and makes nothing."""

    scope = "read"
    made_status = 200


class Weighings(Calculation):
    """What one reading is worth: standard and expanded uncertainty, and what speaks against it."""

    body_class = WeighingBody
    made_class = WeighingAnswer

    def do(self, said: dict[str, Any]) -> dict[str, Any]:
        scale, measured = said["as_sums"], said["measured"]
        error_mg = weighing.maximum_permissible_error_mg(scale, measured.mass_mg)
        return _measured(measured) | {"permissible_error_mg": error_mg, "flags": said["flags"]}


class TermBody(WeighingBody):
    """A weighing and how often it counts: -1 takes it off, as an empty box."""

    times = serializers.IntegerField(default=1, min_value=-TIMES_MAX, max_value=TIMES_MAX)


class TermsBody(Body):
    weighings = serializers.ListSerializer[Any](
        child=TermBody(), min_length=1, max_length=WEIGHINGS_MAX
    )

    def validate_weighings(self, said: list[dict[str, Any]]) -> list[dict[str, Any]]:
        by_name: dict[str, Scale] = {}
        for one in said:
            scale = one["as_sums"]
            if by_name.setdefault(scale.key, scale) != scale:
                raise serializers.ValidationError(
                    _("The scale “%(name)s” comes with two sets of figures. Give one.")
                    % {"name": scale.key}
                )
        return said


class FlaggedAnswer(serializers.Serializer[Any]):
    weighing = serializers.IntegerField(help_text="Its place in the request, from 1 on.")
    flags = serializers.ListField(child=serializers.CharField())


class SumAnswer(MeasuredAnswer):
    """The sum of all; an error that a scale makes in each weighing adds up with its sign."""

    flagged = FlaggedAnswer(many=True)


class WeighingSums(Calculation):
    """A sum or difference of weighings, with its uncertainty."""

    body_class = TermsBody
    made_class = SumAnswer

    def do(self, said: dict[str, Any]) -> dict[str, Any]:
        terms = said["weighings"]
        flagged = [
            {"weighing": number, "flags": one["flags"]}
            for number, one in enumerate(terms, start=1)
            if one["flags"]
        ]
        combined = weighing.combine((one["times"], one["measured"]) for one in terms)
        return _measured(combined) | {"flagged": flagged}


def _measured(measured: Measured) -> dict[str, Any]:
    return {
        "mass_mg": measured.mass_mg,
        "own_u_mg": measured.u_independent_mg,
        "shared": [{"scale": key, "u_mg": u_mg} for key, u_mg in measured.u_shared_mg],
        "standard_u_mg": measured.u_mg,
        "expanded_u_mg": weighing.expanded(measured.u_mg),
        "coverage_factor": weighing.COVERAGE_FACTOR,
    }


class PlanBody(Body):
    lot = serializers.IntegerField(min_value=sampling.LOT_MIN, max_value=10**9)
    aql = serializers.ChoiceField(choices=sampling.AQLS)
    level = serializers.ChoiceField(choices=["II"], default="II")


class PlanAnswer(serializers.Serializer[Any]):
    """`sample` is n, `accept` Ac, `reject` Re. `letter` is the lot's; arrows are followed."""

    letter = serializers.CharField()
    sample = serializers.IntegerField()
    accept = serializers.IntegerField()
    reject = serializers.IntegerField()
    inspect_all = serializers.BooleanField()


class SamplingPlan(Detail):
    """How many pieces of a lot to look at, and how many bad ones it may have. Single, normal."""

    scope = "read"
    answer_class = PlanAnswer
    header_parameters = [
        OpenApiParameter("lot", OpenApiTypes.INT, required=True, description="Pieces in the lot."),
        OpenApiParameter(
            "aql",
            OpenApiTypes.STR,
            required=True,
            enum=sampling.AQLS,
            description="Quality limit, percent of bad pieces.",
        ),
        OpenApiParameter(
            "level", OpenApiTypes.STR, enum=["II"], description="General level; II alone is held."
        ),
    ]

    def thing(self) -> dict[str, Any]:
        asked = PlanBody(data=self.request.GET.dict())
        asked.is_valid(raise_exception=True)
        lot, aql = asked.validated_data["lot"], asked.validated_data["aql"]
        try:
            plan = sampling.plan(lot=lot, aql=aql)
        except InputRefused as error:
            told = _("No plan is held for lots this large: split the lot.")
            raise BadInput(told, field="lot") from error
        return {**asdict(plan), "letter": sampling.code_letter(lot), "reject": plan.reject}


class PieceBody(Body):
    """A line of a bill: nominal mass and standard deviation of one piece."""

    key = serializers.CharField(max_length=NAME_MAX)
    nominal_mg = Milligrams()
    spread_mg = Milligrams(least=0)
    count = serializers.IntegerField(default=1, min_value=1, max_value=20)


class OtherBody(PieceBody):
    """The like of a piece, of another model."""

    of = serializers.CharField(max_length=NAME_MAX)


class MassFitBody(Body):
    """A mass against the bill of one of our models, or against the pieces that are sent."""

    mass_mg = Milligrams()
    u_ug = serializers.IntegerField(
        min_value=1, max_value=U_UG_MAX, help_text="Standard uncertainty of the mass."
    )
    model = Known(FrameModel.objects.all, required=False)
    pieces = serializers.ListSerializer[Any](
        child=PieceBody(), required=False, min_length=1, max_length=massfit.COMPONENTS_MAX
    )
    others = serializers.ListSerializer[Any](
        child=OtherBody(), required=False, max_length=massfit.OTHERS_MAX
    )

    def validate(self, said: dict[str, Any]) -> dict[str, Any]:
        if ("model" in said) == ("pieces" in said):
            raise serializers.ValidationError(_("Give either “model” or “pieces”."))
        if "others" in said and "model" in said:
            told = _("A model is compared with all others by itself. Leave this out.")
            raise serializers.ValidationError({"others": told})
        return said


class MassFitAnswer(serializers.Serializer[Any]):
    """What the mass points to, likeliest first; `ratio` is null where nothing else comes near."""

    verdict = serializers.CharField()
    ratio = serializers.FloatField(allow_null=True)
    fits = serializers.JSONField()


class MassFits(Calculation):
    """Which pieces a mass says are missing, too many, exchanged, or foreign. A hint, no proof."""

    body_class = MassFitBody
    made_class = MassFitAnswer

    def do(self, said: dict[str, Any]) -> dict[str, Any]:
        mass_mg, u_mg = said["mass_mg"], said["u_ug"] / 1000
        if "model" in said:
            found = massfits.against_model(mass_mg=mass_mg, u_mg=u_mg, model=said["model"])
            if not found:
                raise BadInput(_("This model has no bill of materials yet."), field="model")
            return found
        try:
            return massfits.against(
                mass_mg=mass_mg,
                u_mg=u_mg,
                bill=_pieces(said["pieces"]),
                others=_pieces(said.get("others", ())),
            )
        except MassFitError as error:
            told = _("Give each piece once, with its count.")
            raise BadInput(told, field="pieces") from error


def _pieces(said: Sequence[dict[str, Any]]) -> list[Component]:
    return [Component(**one) for one in said]


class TrialAnswer(serializers.Serializer[Any]):
    """What the decision would be. `sums` as in a grading that is kept."""

    computed = serializers.CharField(source="outcome")
    disposition = serializers.CharField()
    sums = serializers.JSONField(source="*")


class GradingTrials(FrameDeed):
    """Try a look-over: the decision with its sums, and nothing is kept, moved or promised."""

    body_class = LookBody
    made_class = TrialAnswer

    def do(self, said: dict[str, Any]) -> dict[str, Any]:
        return lookover.consider(frame=self.frame(), look=look_of(said))


urlpatterns: list[URLPattern] = [
    path("calculations/weighings/", Weighings.as_view(), name="api-calculated-weighings"),
    path("calculations/weighing-sums/", WeighingSums.as_view(), name="api-calculated-sums"),
    path("calculations/sampling-plan/", SamplingPlan.as_view(), name="api-sampling-plan"),
    path("calculations/mass-fits/", MassFits.as_view(), name="api-calculated-mass-fits"),
    path("frames/<str:tag>/grading-trials/", GradingTrials.as_view(), name="api-grading-trials"),
]
