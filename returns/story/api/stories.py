"""The story of a request, for whoever holds its private link. The secret travels in a header."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request as Call
from rest_framework.throttling import BaseThrottle

from inventory.furniture.api.shapes import Body, Code, Moment, ReadingKnown
from inventory.furniture.api.views import ActionView, Detail, Face
from returns.customers.rules import Contact
from returns.filing.api import ContactBody
from returns.filing.queries import frames
from returns.filing.rules import intake, reaching, underway
from returns.furniture import limits
from returns.furniture.api.lookups import colourway_code
from returns.models import Question, Request, ReturnedFrame
from returns.story.api.requests import FiledFrameAnswer
from returns.story.queries import story
from returns.story.sums.states import RequestState

HEADER = "Story-Secret"


class TurnAnswer(serializers.Serializer[story.Turn]):
    at = Moment()
    text = serializers.CharField()
    frame = serializers.CharField(
        source="tag", help_text="The tag of the frame that it happened to; empty for the request."
    )


class OwnFrameAnswer(serializers.Serializer[ReturnedFrame]):
    tag = serializers.CharField()
    state = serializers.CharField()
    mass_mg = serializers.IntegerField(source="reading.mass_mg")
    known = ReadingKnown(source="reading")
    weighed_at = Moment()
    promised_by = serializers.DateField()
    number = serializers.IntegerField(
        allow_null=True, help_text="Which of the filed frames it is, counted from 1."
    )


class QuestionAnswer(serializers.Serializer[Question]):
    """`photos` counts those of the question and of its answer."""

    number = serializers.IntegerField(source="pk")
    frame = Code(by="tag")
    state = serializers.CharField(help_text="open, answered or withdrawn")
    text = serializers.CharField()
    choices = serializers.ListField(child=serializers.CharField())
    asked_at = Moment()
    closed_at = Moment(allow_null=True)
    chosen = serializers.CharField()
    answer = serializers.CharField()
    photos = serializers.IntegerField(source="photos.count")


class StoryAnswer(serializers.Serializer[Request]):
    reference = serializers.CharField()
    kind = serializers.CharField()
    state = serializers.CharField()
    colourway = serializers.SerializerMethodField()
    filed_at = Moment()
    promised_by = serializers.DateField(allow_null=True)
    filed_frames = serializers.SerializerMethodField()
    frames = serializers.SerializerMethodField()
    questions = serializers.SerializerMethodField()
    turns = serializers.SerializerMethodField()
    next = serializers.SerializerMethodField()
    stations = serializers.SerializerMethodField()
    station = serializers.SerializerMethodField(help_text="Index of the present station.")
    may_withdraw = serializers.SerializerMethodField()
    may_change_address = serializers.SerializerMethodField()
    may_report_missing = serializers.SerializerMethodField()
    sent_at = Moment(allow_null=True, help_text="When the customer said that it is in the post.")
    carrier_number = serializers.CharField()
    may_say_posted = serializers.SerializerMethodField()
    may_wake = serializers.SerializerMethodField()

    def to_representation(self, request: Request) -> Any:
        # One moment for the whole answer, so that its fields cannot contradict each other; and the
        # story is read once.
        self.at = timezone.now()
        self.story = story.of(request, at=self.at)
        return super().to_representation(request)

    def get_colourway(self, request: Request) -> str | None:
        return colourway_code(request.colourway) if request.colourway else None

    @extend_schema_field(FiledFrameAnswer(many=True))
    def get_filed_frames(self, request: Request) -> list[dict[str, Any]]:
        return [dict(FiledFrameAnswer(one).data) for one in frames.of(request)]

    @extend_schema_field(OwnFrameAnswer(many=True))
    def get_frames(self, request: Request) -> list[dict[str, Any]]:
        rows = request.frames.select_related("reading").order_by("pk")
        return [dict(OwnFrameAnswer(frame).data) for frame in rows]

    @extend_schema_field(QuestionAnswer(many=True))
    def get_questions(self, request: Request) -> list[dict[str, Any]]:
        rows = request.questions.select_related("frame").prefetch_related("photos")
        return [dict(QuestionAnswer(one).data) for one in rows]

    @extend_schema_field(TurnAnswer(many=True))
    def get_turns(self, _request: Request) -> list[dict[str, Any]]:
        return [dict(TurnAnswer(turn).data) for turn in self.story.turns]

    def get_next(self, _request: Request) -> str:
        return self.story.next

    def get_stations(self, _request: Request) -> list[str]:
        return [str(station) for station in self.story.stations]

    def get_station(self, _request: Request) -> int:
        return self.story.station

    def get_may_withdraw(self, request: Request) -> bool:
        return intake.may_withdraw(request)

    def get_may_change_address(self, request: Request) -> bool:
        return intake.may_change_address(request)

    def get_may_report_missing(self, request: Request) -> bool:
        return intake.may_report_missing(request, at=self.at)

    def get_may_say_posted(self, request: Request) -> bool:
        return request.state == RequestState.AWAITED

    def get_may_wake(self, request: Request) -> bool:
        return request.state == RequestState.RESTING


class OfSecret(Face):
    """An address that the secret opens, and nothing else."""

    scope = None
    header_parameters = [
        OpenApiParameter(
            HEADER,
            OpenApiTypes.STR,
            OpenApiParameter.HEADER,
            required=True,
            description="The secret part of the request's private link.",
        )
    ]

    def opened(self) -> Request:
        # In a header and not in the address, which ends in the logs of every machine between.
        return intake.by_secret(self.request.headers.get(HEADER, ""))


class OneStory(OfSecret, Detail):
    """Show the holder of a private link what became of the request so far, and what comes next.

    Answers `not-found` for a link that opens nothing.
    """

    answer_class = StoryAnswer

    def instance(self) -> Request:
        return self.opened()


class StoryAction(OfSecret, ActionView):
    """What the holder of the link may still do."""

    made_class = StoryAnswer
    made_status = 200

    def caller(self, _request: Call, /) -> str:
        # A client's ids are kept apart by caller. Holders of one link are one caller, for nothing
        # tells them apart.
        return f"story:{self.opened().reference}"


class Withdraw(StoryAction):
    """Take a request back before anything was posted either way.

    Answers `stale-state` when the parcel has arrived, the kit has left, or the request is over.
    """

    def perform(self, _data: dict[str, Any]) -> Request:
        return intake.withdraw(key=self.action_key, request=self.opened(), at=self.at)


class ChangeAddress(StoryAction):
    """Change name and postal address while something is still to be posted.

    The email stays as it was filed, and a letter goes there. Answers `bad-input` naming the part of
    the address, and `stale-state` when everything has left already.
    """

    body_class = ContactBody

    def perform(self, data: dict[str, Any]) -> Request:
        contact = Contact(email="", **data)
        request = self.opened()
        return intake.change_address(
            key=self.action_key, request=request, contact=contact, at=self.at
        )


class ReportMissing(StoryAction):
    """Report that what was posted last never came: a kit, the frame or its lenses.

    Answers `stale-state` when nothing was posted, it was reported before, or it is too long ago.
    """

    def perform(self, _data: dict[str, Any]) -> Request:
        return intake.report_missing(key=self.action_key, request=self.opened(), at=self.at)


class PostedBody(Body):
    number = serializers.CharField(
        max_length=underway.NUMBER_LENGTH_MAX,
        allow_blank=True,
        default="",
        help_text="The carrier's number of the parcel, if there is one.",
    )


class SayPosted(StoryAction):
    """Say that the parcel is in the post. May be said again, with another number.

    Answers `bad-input` for a number that no carrier's receipt has, and `stale-state` when the
    parcel is here already or none is awaited.
    """

    body_class = PostedBody

    def perform(self, data: dict[str, Any]) -> Request:
        return underway.say_posted(
            key=self.action_key, request=self.opened(), number=data["number"], at=self.at
        )


class Wake(StoryAction):
    """Wake a request that rests: its frame is awaited again, for as long as a new one.

    Answers `stale-state` when it does not rest.
    """

    def perform(self, _data: dict[str, Any]) -> Request:
        return underway.revive(key=self.action_key, request=self.opened(), at=self.at)


class OfRequest(BaseThrottle):
    """As often as the page lets the holder of a link have a mail sent: it may be another's."""

    def allow_request(self, request: Call, view: Any) -> bool:
        del request
        return limits.may_write(view.opened().reference)

    def wait(self) -> float:
        return float(limits.HOUR_S)


class EmailBody(Body):
    email = serializers.CharField(max_length=254)


class ChangeEmail(StoryAction):
    """Put the email right. Both are written to, the new one and the one before.

    Answers `bad-input` for an email that will not do or is the present one, `stale-state` when the
    personal data have been deleted, and `too-many-requests` beyond a few an hour.
    """

    throttle_classes = [OfRequest]
    body_class = EmailBody

    def perform(self, data: dict[str, Any]) -> Request:
        return reaching.change_email(
            key=self.action_key, request=self.opened(), email=data["email"], at=self.at
        )
