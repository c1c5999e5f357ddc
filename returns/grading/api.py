"""Returned frames: where each stands, what was decided, and the actions of looking it over."""

from __future__ import annotations

from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.serializers import BaseSerializer

from inventory.furniture.api import filters
from inventory.furniture.api.shapes import (
    Body,
    Code,
    KnownCode,
    KnownMass,
    KnownTogether,
    Moment,
    ReadingKnown,
    known_mass,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.models import Reading
from inventory.weighing.queries import traced
from returns.arriving import rules as arriving
from returns.bench.queries import frames
from returns.furniture.api.lookups import ColourwayCode, colourway_code, frame_at
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import MEASURED_UM_MAX, Look
from returns.models import Finding, FrameHeap, Grading, ProductionBatch, RepairJob, ReturnedFrame
from returns.models.mending import JobStep
from returns.story.sums.states import FrameState

ROWS = ReturnedFrame.objects.select_related(
    "parcel",
    "request",
    "colourway__model",
    "colourway__colour",
    "batch",
    "reading__scale",
    "box",
    "lot",
).prefetch_related("heaps__box__colour", "heaps__lot")
FINDINGS_MAX = 40


class FrameFilter(filters.FilterSet):
    state = filters.ChoiceFilter(choices=[(s.value, s.value) for s in FrameState])
    model = filters.CharFilter(field_name="colourway__model__code", max_length=30)
    batch = filters.CharFilter(field_name="batch__code", max_length=20)
    request = filters.CharFilter(field_name="request__reference", max_length=20)
    lot = filters.CharFilter(field_name="lot__code", max_length=20)
    is_stranger = filters.BooleanFilter()
    promised_to = filters.Day(field_name="promised_by", lookup_expr="lte")
    weighed_from = filters.Day(field_name="weighed_at", lookup_expr="date__gte")
    weighed_to = filters.Day(field_name="weighed_at", lookup_expr="date__lte")


class HeapAnswer(serializers.Serializer[FrameHeap]):
    """Frame material of one frame in one box, in mg; `lot` is null until it is ground."""

    box = Code()
    colour = Code(source="box.colour")
    mass_mg = serializers.IntegerField()
    lot = Code(allow_null=True)


class FrameRow(serializers.Serializer[ReturnedFrame]):
    """`boxed_known` is null where nothing of it was put in a box.

    `box` and `lot` are those of its main material; `heaps` are all of them, `boxed_mg` their sum.
    """

    tag = serializers.CharField()
    state = serializers.CharField()
    parcel = Code()
    request = Code(by="reference", allow_null=True)
    colourway = serializers.SerializerMethodField()
    batch = Code(allow_null=True)
    is_stranger = serializers.BooleanField()
    wish = serializers.CharField()
    lenses_back = serializers.BooleanField()
    mass_mg = serializers.IntegerField(source="reading.mass_mg")
    known = ReadingKnown(source="reading")
    weighed_at = Moment()
    promised_by = serializers.DateField()
    mends_before = serializers.IntegerField()
    box = Code(allow_null=True)
    boxed_mg = serializers.IntegerField()
    boxed_known = KnownTogether(ask=frames.boxed, by="tag")
    lot = Code(allow_null=True)
    heaps = HeapAnswer(many=True)
    ended_at = Moment(allow_null=True)

    def get_colourway(self, frame: ReturnedFrame) -> str | None:
        return colourway_code(frame.colourway) if frame.colourway else None


class ReadingAnswer(serializers.Serializer[Reading]):
    scale = Code(by="name")
    typed = serializers.CharField()
    mass_mg = serializers.IntegerField()
    known = ReadingKnown(source="*")
    own_uncertainty_ug = serializers.IntegerField(source="u_own_ug")
    shared_uncertainty_ug = serializers.IntegerField(source="u_shared_ug")
    like_load_uncertainty_ug = serializers.IntegerField(source="u_local_ug")
    drift_uncertainty_ug = serializers.IntegerField(source="u_drift_ug")
    uncorrected_error_ug = serializers.IntegerField(source="error_ug")
    model_edition = serializers.IntegerField(source="edition")
    flags = serializers.ListField(child=serializers.CharField())
    at = Moment()


class FindingAnswer(serializers.Serializer[Finding]):
    component = serializers.CharField()
    defect = serializers.CharField()
    measured_um = serializers.IntegerField(allow_null=True)


class GradingAnswer(serializers.Serializer[Grading]):
    """`sums` holds the reasons, plans and figures that the decision came from.

    Its `tippings` tell, for each number alone, the value nearest to today's (`at`) from which
    another way wins (`then`); `off_ppm` is how far off that is, null where none tips it.
    """

    frame = Code(by="tag")
    computed = serializers.CharField()
    decided = serializers.CharField()
    overrule_reason = serializers.CharField()
    at = Moment()
    by = Code(by="username")
    findings = FindingAnswer(many=True)
    sums = serializers.JSONField()


class StepAnswer(serializers.Serializer[JobStep]):
    remedy = Code(by="key")
    component = serializers.CharField()
    done_at = Moment(allow_null=True)
    minutes = serializers.IntegerField(allow_null=True)
    worked = serializers.BooleanField(allow_null=True)
    parts_used = serializers.DictField(child=serializers.IntegerField())
    withdrawn_at = Moment(allow_null=True)


class JobAnswer(serializers.Serializer[RepairJob]):
    frame = Code(by="tag")
    state = serializers.CharField()
    opened_at = Moment()
    ended_at = Moment(allow_null=True)
    steps = StepAnswer(many=True)


class WhereAnswer(serializers.Serializer[Any]):
    place = serializers.CharField()
    mass_mg = serializers.IntegerField()
    known = KnownMass()


class FrameAnswer(FrameRow):
    """`mass_fit` is what the mass alone says about model and missing pieces."""

    version = serializers.IntegerField(
        help_text="Grows with each event of the frame. Send it back with what you decide."
    )
    cleaned_at = Moment()
    reading = ReadingAnswer()
    mass_fit = serializers.JSONField(source="massfit")
    whereabouts = serializers.SerializerMethodField()
    gradings = serializers.SerializerMethodField()
    jobs = serializers.SerializerMethodField()
    movements = serializers.SerializerMethodField(help_text="Numbers of the latest movements.")

    def to_representation(self, frame: ReturnedFrame) -> Any:
        # Read once for the whole answer: four of its fields come from the story.
        self.story = frames.story(frame)
        return super().to_representation(frame)

    @extend_schema_field(WhereAnswer(many=True))
    def get_whereabouts(self, _frame: ReturnedFrame) -> list[dict[str, Any]]:
        # One question for all places, and not one for each.
        known = traced.of_subject(self.story.frame.tag)
        return [
            {"place": place.code, "mass_mg": mass_mg, "known": known_mass(known.get(place.code))}
            for place, mass_mg in self.story.whereabouts.items()
        ]

    @extend_schema_field(GradingAnswer(many=True))
    def get_gradings(self, _frame: ReturnedFrame) -> list[dict[str, Any]]:
        return [dict(GradingAnswer(grading).data) for grading in self.story.gradings]

    @extend_schema_field(JobAnswer(many=True))
    def get_jobs(self, _frame: ReturnedFrame) -> list[dict[str, Any]]:
        return [dict(JobAnswer(job).data) for job in self.story.jobs]

    def get_movements(self, _frame: ReturnedFrame) -> list[int]:
        return [movement.number for movement in self.story.movements]


class Frames(Listing):
    """List the returned frames, newest first, each with its mass in mg and its state."""

    scope = "read"
    serializer_class = FrameRow
    filterset_class = FrameFilter
    queryset = ROWS


class OneFrame(Detail):
    """Show one frame: its mass in mg, where it is, its gradings and its repair jobs.

    Answers `not-found` for another tag.
    """

    scope = "read"
    answer_class = FrameAnswer

    def instance(self) -> ReturnedFrame:
        return frame_at(self.kwargs["tag"], frames.versioned(ROWS.all()))


class FrameAction(ActionView):
    """An action at the bench that one frame is the subject of."""

    scope = "bench"
    made_class: ClassVar[type[BaseSerializer[Any]]] = FrameRow
    made_status = 200

    def frame(self) -> ReturnedFrame:
        return frame_at(self.kwargs["tag"], ROWS.all())


class FindingBody(Body):
    component = serializers.CharField(max_length=20)
    defect = serializers.CharField(max_length=20)
    measured_um = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MEASURED_UM_MAX
    )


class VersionBody(Body):
    version = serializers.IntegerField(
        min_value=0, help_text="The frame's version that you read and decided on."
    )


class LookBody(VersionBody):
    findings = serializers.ListSerializer[Any](
        child=FindingBody(), max_length=FINDINGS_MAX, default=list
    )
    polymer = serializers.CharField(
        max_length=20, help_text="What the bench says of the plastic: ours, other or unknown."
    )
    found_sound = serializers.BooleanField(default=False)
    batch = KnownCode(ProductionBatch.objects.all, required=False, allow_null=True)
    colourway = ColourwayCode(
        required=False,
        allow_null=True,
        help_text="What it turned out to be, such as avocet/slate; leave it out if that is known.",
    )


def look_of(given: dict[str, Any]) -> Look:
    """A body as the look-over takes it."""
    seen = [
        Seen(one["component"], one["defect"], one.get("measured_um")) for one in given["findings"]
    ]
    given = {name: value for name, value in given.items() if name != "version"}
    return Look(**(given | {"findings": seen}))


class Gradings(FrameAction):
    """Look a frame over: send the findings, and get the decision with every figure behind it.

    Wall and hole are measured in µm. The frame goes to the bench or the hold shelf, and the parts
    of its plan are set aside. Answers `bad-input` for findings that clash or will not do, and
    `stale-state` once work on the frame has begun, or when the frame has changed since `version`.
    """

    body_class = LookBody
    made_class = GradingAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> Grading:
        return lookover.grade(
            key=self.action_key,
            frame=self.frame(),
            look=look_of(data),
            seen_version=data["version"],
            at=self.at,
            by=self.by,
        )


class OverruleBody(VersionBody):
    outcome = serializers.CharField(max_length=8, help_text="repair, regrind or hold")
    reason = serializers.CharField(max_length=200)


class Overrulings(FrameAction):
    """Decide otherwise than the sums did, and say why. Both decisions are kept.

    “regrind” means that the frame cannot be mended: one that its customer wants back is posted
    back. Answers `bad-input` without a reason or an earlier grading, and where regrind is wanted
    without the customer's wish or for a plastic that is not known to be ours; `stale-state` once
    work on the frame has begun, or when the frame has changed since `version`.
    """

    body_class = OverruleBody
    made_class = GradingAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> Grading:
        return lookover.overrule(
            key=self.action_key,
            frame=self.frame(),
            outcome=data["outcome"],
            reason=data["reason"],
            seen_version=data["version"],
            at=self.at,
            by=self.by,
        )


class WishBody(VersionBody):
    wish = serializers.CharField(max_length=10, help_text="regrind or post_back")
    evidence = serializers.CharField(max_length=10, help_text="letter, email, phone or in_person")


class Wishes(FrameAction):
    """Record what the customer wants if the frame cannot be mended, and how we know.

    The wish can bring the frame back on hold. Answers `bad-input` for an unknown wish or evidence,
    and `stale-state` when the frame has gone its way already, or has changed since `version`.
    """

    body_class = WishBody

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        version = data.pop("version")
        return lookover.record_wish(
            key=self.action_key,
            frame=self.frame(),
            seen_version=version,
            at=self.at,
            by=self.by,
            **data,
        )


class ReasonBody(Body):
    reason = serializers.CharField(max_length=200)


class Voidings(FrameAction):
    """Undo a weigh-in before anything was decided: its posting is reversed and the tag is void.

    The parcel opens again, so that the frame can be weighed in anew. Answers `bad-input` without a
    reason, and `stale-state` once the frame was looked over.
    """

    body_class = ReasonBody

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        return arriving.unweigh(
            key=self.action_key, frame=self.frame(), at=self.at, by=self.by, **data
        )
