"""Requests as staff sees them. Who filed one is told to bench and owner alone."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers

from inventory.furniture.api import filters
from inventory.furniture.api.access import scopes_of
from inventory.furniture.api.shapes import Codes, Moment
from inventory.furniture.api.views import Detail, Listing
from returns.filing.queries import frames
from returns.filing.queries.frames import FiledFrame
from returns.furniture.api.lookups import colourway_code, request_at
from returns.models import Dispatch, Person, Request, Trouble
from returns.story.sums.states import RequestState

SEES_PEOPLE = frozenset({"bench", "owner"})


class RequestFilter(filters.FilterSet):
    kind = filters.ChoiceFilter(choices=Request.Kind.choices)
    state = filters.ChoiceFilter(choices=[(s.value, s.value) for s in RequestState])
    model = filters.CharFilter(field_name="colourway__model__code", max_length=30)
    filed_from = filters.Day(field_name="filed_at", lookup_expr="date__gte")
    filed_to = filters.Day(field_name="filed_at", lookup_expr="date__lte")


class RequestRow(serializers.Serializer[Request]):
    reference = serializers.CharField()
    kind = serializers.CharField()
    state = serializers.CharField()
    colourway = serializers.SerializerMethodField()
    component = serializers.CharField()
    defect = serializers.CharField()
    wish = serializers.CharField()
    lenses_back = serializers.BooleanField()
    filed_at = Moment()
    promised_by = serializers.DateField(allow_null=True)
    posted_at = Moment(allow_null=True)
    ended_at = Moment(allow_null=True)

    def get_colourway(self, request: Request) -> str | None:
        return colourway_code(request.colourway) if request.colourway else None


class FiledTroubleAnswer(serializers.Serializer[Any]):
    component = serializers.CharField()
    defect = serializers.CharField()


class FiledFrameAnswer(serializers.Serializer[FiledFrame]):
    """A frame as it was filed, without its customer's own words."""

    number = serializers.IntegerField()
    colourway = serializers.SerializerMethodField()
    troubles = serializers.SerializerMethodField()
    wish = serializers.CharField()
    lenses_back = serializers.BooleanField()

    def get_colourway(self, frame: FiledFrame) -> str | None:
        return colourway_code(frame.colourway) if frame.colourway else None

    @extend_schema_field(FiledTroubleAnswer(many=True))
    def get_troubles(self, frame: FiledFrame) -> list[dict[str, str]]:
        return [{"component": component, "defect": defect} for component, defect in frame.troubles]


class PersonAnswer(serializers.Serializer[Person]):
    name = serializers.CharField()
    email = serializers.CharField()
    street = serializers.CharField()
    extra = serializers.CharField()
    postal_code = serializers.CharField()
    city = serializers.CharField()
    region = serializers.CharField()
    country = serializers.CharField()
    language = serializers.CharField()


class PostedAnswer(serializers.Serializer[Dispatch]):
    code = serializers.CharField()
    kind = serializers.CharField()
    posted_at = Moment(allow_null=True)
    at_counter = serializers.BooleanField(help_text="Handed over there, instead of posted.")
    missing_reported_at = Moment(allow_null=True)


class TroubleAnswer(serializers.Serializer[Trouble]):
    component = serializers.CharField()
    defect = serializers.CharField()


class RequestAnswer(RequestRow):
    """`person` and `note` are null for callers who may not see people, and so is the carrier's
    number, for it leads to an address.
    """

    troubles = TroubleAnswer(many=True)
    sent_at = Moment(allow_null=True)
    carrier_number = serializers.SerializerMethodField()

    filed_frames = serializers.SerializerMethodField()
    parcels = Codes(by="code")
    frames = Codes(by="tag")
    dispatches = PostedAnswer(many=True)
    person = serializers.SerializerMethodField()
    note = serializers.SerializerMethodField()

    @extend_schema_field(PersonAnswer(allow_null=True))
    def get_person(self, request: Request) -> dict[str, Any] | None:
        person = request.person if self._sees_people() else None
        return dict(PersonAnswer(person).data) if person else None

    @extend_schema_field(FiledFrameAnswer(many=True))
    def get_filed_frames(self, request: Request) -> list[dict[str, Any]]:
        return [dict(FiledFrameAnswer(one).data) for one in frames.of(request)]

    def get_note(self, request: Request) -> str | None:
        return request.note if self._sees_people() else None

    def get_carrier_number(self, request: Request) -> str | None:
        return request.carrier_number if self._sees_people() else None

    def _sees_people(self) -> bool:
        # By scope and not by role: a token of the owner's may be made for less than its owner may
        # see.
        return bool(SEES_PEOPLE & scopes_of(self.context["request"]))


class Requests(Listing):
    """List the requests, newest first."""

    scope = "read"
    serializer_class = RequestRow
    filterset_class = RequestFilter
    queryset = Request.objects.select_related("colourway__model", "colourway__colour")


class OneRequest(Detail):
    """Show one request with its person, parcels, frames and dispatches.

    Answers `not-found` for another reference.
    """

    scope = "read"
    answer_class = RequestAnswer

    def instance(self) -> Request:
        rows = Request.objects.select_related("person", "colourway__model", "colourway__colour")
        return request_at(self.kwargs["reference"], rows)
