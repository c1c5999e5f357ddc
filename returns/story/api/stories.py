"""The story of a request, for whoever holds its private link. The secret travels in a header."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request as Call

from inventory.furniture.api.shapes import Moment, ReadingKnown
from inventory.furniture.api.views import ActionView, Detail, Face
from returns.customers.rules import Contact
from returns.filing.api import ContactBody
from returns.filing.rules import intake
from returns.furniture.api.lookups import colourway_code
from returns.models import Request, ReturnedFrame
from returns.story.queries import story

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


class StoryAnswer(serializers.Serializer[Request]):
    reference = serializers.CharField()
    kind = serializers.CharField()
    state = serializers.CharField()
    colourway = serializers.SerializerMethodField()
    filed_at = Moment()
    promised_by = serializers.DateField(allow_null=True)
    frames = serializers.SerializerMethodField()
    turns = serializers.SerializerMethodField()
    next = serializers.SerializerMethodField()
    stations = serializers.SerializerMethodField()
    station = serializers.SerializerMethodField(help_text="Index of the present station.")
    may_withdraw = serializers.SerializerMethodField()
    may_change_address = serializers.SerializerMethodField()
    may_report_missing = serializers.SerializerMethodField()

    def to_representation(self, request: Request) -> Any:
        # One moment for the whole answer, so that its fields cannot contradict each other; and the
        # story is read once.
        self.at = timezone.now()
        self.story = story.of(request, at=self.at)
        return super().to_representation(request)

    def get_colourway(self, request: Request) -> str | None:
        return colourway_code(request.colourway) if request.colourway else None

    @extend_schema_field(OwnFrameAnswer(many=True))
    def get_frames(self, request: Request) -> list[dict[str, Any]]:
        frames = request.frames.select_related("reading").order_by("pk")
        return [dict(OwnFrameAnswer(frame).data) for frame in frames]

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

    def do(self, _said: dict[str, Any]) -> Request:
        return intake.withdraw(key=self.action_key, request=self.opened(), at=self.at)


class ChangeAddress(StoryAction):
    """Change name and postal address while something is still to be posted.

    The email stays as it was filed, and a letter goes there. Answers `bad-input` naming the part of
    the address, and `stale-state` when everything has left already.
    """

    body_class = ContactBody

    def do(self, given: dict[str, Any]) -> Request:
        contact = Contact(email="", **given)
        request = self.opened()
        return intake.change_address(
            key=self.action_key, request=request, contact=contact, at=self.at
        )


class ReportMissing(StoryAction):
    """Report that what was posted last never came: a kit, the frame or its lenses.

    Answers `stale-state` when nothing was posted, it was reported before, or it is too long ago.
    """

    def do(self, _said: dict[str, Any]) -> Request:
        return intake.report_missing(key=self.action_key, request=self.opened(), at=self.at)
