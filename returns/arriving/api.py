"""Parcels: booking one, weighing in each frame of it, finishing it."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api import filters
from inventory.furniture.api.shapes import (
    Body,
    Code,
    Codes,
    KnownCode,
    Moment,
    ScaleName,
    TypedMass,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from returns.arriving import rules as arriving
from returns.arriving.rules import MENDS_TYPED_MAX, REASON_LENGTH_MAX, WeighIn
from returns.filing.rules.intake import FRAMES_MAX
from returns.furniture.api.lookups import ColourwayCode, RequestReference, SlipCode, parcel_at
from returns.grading.api import FrameRow
from returns.models import Parcel, ProductionBatch, ReturnedFrame


class ParcelFilter(filters.FilterSet):
    content = filters.ChoiceFilter(choices=Parcel.Content.choices)
    is_open = filters.BooleanFilter(field_name="done_at", lookup_expr="isnull")


class ParcelAnswer(serializers.Serializer[Parcel]):
    code = serializers.CharField()
    request = Code(by="reference", allow_null=True)
    content = serializers.CharField()
    arrived_at = Moment()
    done_at = Moment(allow_null=True)
    frames = Codes(by="tag")


class BookBody(Body):
    request = RequestReference(
        required=False, allow_null=True, help_text="The reference on the slip, if there is one."
    )
    is_another = serializers.BooleanField(
        default=False, help_text="It is another parcel beside one that is booked for this request."
    )


class Parcels(ActionView, Listing):
    """GET lists the parcels, newest first; POST books one that lies on the shelf.

    With the reference on its slip, its request has arrived. POST answers `bad-input` for a request
    that asks for screws, and for one with a parcel already unless this `is_another`; `stale-state`
    for one that cannot arrive.
    """

    scope = "bench"
    read_scope = "read"
    serializer_class = ParcelAnswer
    filterset_class = ParcelFilter
    queryset = Parcel.objects.select_related("request").prefetch_related("frames")
    body_class = BookBody
    made_class = ParcelAnswer

    def perform(self, data: dict[str, Any]) -> Parcel:
        return arriving.book(
            key=self.action_key,
            request=data.get("request"),
            is_another=data["is_another"],
            at=self.at,
            by=self.by,
        )


class OneParcel(Detail):
    """Show one parcel and the tags of its frames. Answers `not-found` for another code."""

    scope = "read"
    answer_class = ParcelAnswer

    def instance(self) -> Parcel:
        return parcel_at(self.kwargs["code"])


class WeighInBody(Body):
    scale = ScaleName()
    mass = TypedMass()
    cleaned = serializers.BooleanField(help_text="Washed, disinfected and dried.")
    colourway = ColourwayCode(required=False, allow_null=True)
    batch = KnownCode(
        lambda: ProductionBatch.objects.select_related("colourway__model", "colourway__colour"),
        required=False,
        allow_null=True,
    )
    is_stranger = serializers.BooleanField(default=False, help_text="Not one of ours.")
    request = RequestReference(required=False, allow_null=True)
    slip = SlipCode(
        required=False,
        allow_null=True,
        help_text="A partner's slip that lay with the frame, where nothing is filed with it yet.",
    )
    mends_before = serializers.IntegerField(min_value=0, max_value=MENDS_TYPED_MAX, default=0)
    again = TypedMass(
        required=False,
        allow_blank=True,
        help_text="A second reading of the same scale, where the first is doubtful.",
    )
    reason = serializers.CharField(
        max_length=REASON_LENGTH_MAX,
        allow_blank=True,
        default="",
        help_text="Why it weighs so much or so little, instead of a second reading.",
    )
    number = serializers.IntegerField(
        min_value=1,
        max_value=FRAMES_MAX,
        required=False,
        allow_null=True,
        help_text="Which of the frames filed in its request, where the colourway does not tell.",
    )


class ParcelFrames(ActionView):
    """Weigh in one frame of a parcel: it gets its tag, its reading and a place on the shelf.

    The mass is text in grams as the scale shows it. One that no such frame weighs needs `again` or
    `reason`. Answers `bad-input` naming every field to put right, and `stale-state` when the parcel
    is finished already.
    """

    scope = "bench"
    body_class = WeighInBody
    made_class = FrameRow

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        parcel = parcel_at(self.kwargs["code"])
        weighing = WeighIn(**({"request": parcel.request} | data))
        return arriving.weigh_in(
            key=self.action_key, parcel=parcel, weighing=weighing, at=self.at, by=self.by
        )


class FinishParcel(ActionView):
    """Finish a parcel: all its frames are weighed in, or it was empty. Its customers are told.

    Answers `stale-state` when somebody finished it first.
    """

    scope = "bench"
    made_class = ParcelAnswer
    made_status = 200

    def perform(self, _data: dict[str, Any]) -> Parcel:
        parcel = parcel_at(self.kwargs["code"])
        return arriving.finish(key=self.action_key, parcel=parcel, at=self.at, by=self.by)
