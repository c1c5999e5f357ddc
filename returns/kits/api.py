"""Spare kits: who waits, what may be posted, what never came. Addresses are for posting only."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, ClassVar

from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.serializers import BaseSerializer

from inventory.furniture.api import filters
from inventory.furniture.api.access import scopes_of
from inventory.furniture.api.shapes import Moment
from inventory.furniture.api.views import ActionView, Listing
from returns.furniture.api.lookups import colourway_code, request_at
from returns.kits import queries as kit_stock
from returns.kits.rules import kits
from returns.leaving.api import DispatchAnswer
from returns.models import Colourway, Dispatch, Request
from returns.story.api.requests import SEES_PEOPLE
from returns.story.sums.states import RequestState

OPEN = (RequestState.WAITING_STOCK, RequestState.RESERVED, RequestState.REPORTED_MISSING)


class KitFilter(filters.FilterSet):
    state = filters.ChoiceFilter(choices=[(state.value, state.value) for state in OPEN])


class KitPart(serializers.Serializer[Any]):
    part = serializers.CharField()
    pieces = serializers.IntegerField()


class KitAnswer(serializers.Serializer[Request]):
    """`address` is null for callers who may not see people."""

    reference = serializers.CharField()
    state = serializers.CharField()
    colourway = serializers.SerializerMethodField()
    filed_at = Moment()
    promised_by = serializers.DateField(allow_null=True)
    parts = serializers.SerializerMethodField()
    address = serializers.SerializerMethodField()

    def get_colourway(self, request: Request) -> str:
        return colourway_code(request.kit_for)

    @extend_schema_field(KitPart(many=True))
    def get_parts(self, request: Request) -> list[dict[str, Any]]:
        return self._contents(request.kit_for)

    def get_address(self, request: Request) -> list[str] | None:
        if request.person is None or not SEES_PEOPLE & scopes_of(self.context["request"]):
            return None
        return [*request.person.address_lines(), request.person.country]

    def _contents(self, way: Colourway) -> list[dict[str, Any]]:
        """Return what a colourway's kit holds, asked once for each: a page has the same few."""
        # On the serializer, which lives for one answer: kept longer it would outlive a change of
        # the bill.
        known: dict[int, list[dict[str, Any]]] = self.__dict__.setdefault("known", {})
        if way.pk not in known:
            known[way.pk] = [
                {"part": part.code, "pieces": pieces}
                for part, pieces in kit_stock.contents_for(way).items()
            ]
        return known[way.pk]


class Kits(Listing):
    """List the spare-screw kits that wait for stock, may be posted, or were reported missing."""

    scope = "read"
    serializer_class = KitAnswer
    filterset_class = KitFilter
    queryset = Request.objects.filter(
        kind=Request.Kind.SCREWS, state__in=[state.value for state in OPEN]
    ).select_related("person", "colourway__model", "colourway__colour")


class KitAction(ActionView):
    """An action on one kit."""

    scope = "bench"
    made_class: ClassVar[type[BaseSerializer[Any]]] = KitAnswer
    made_status = 200
    rule: Callable[..., Any]

    def perform(self, _data: dict[str, Any]) -> Any:
        request = request_at(self.kwargs["reference"])
        return type(self).rule(key=self.action_key, request=request, at=self.at, by=self.by)


class KitDispatches(KitAction):
    """Post a kit: its pieces leave their bin now.

    Answers `stale-state` when the kit is not set aside for posting, `conflict` when its address was
    erased, and `not-enough` when the bin holds less than the books say: count it, then put the kit
    back into the queue.
    """

    made_class = DispatchAnswer
    made_status = 201
    rule: Callable[..., Dispatch] = staticmethod(kits.post)


class KitCollections(KitAction):
    """Hand a kit over at the counter: its pieces leave their bin now, and its story is over.

    Answers `stale-state` when the kit is not set aside, and `not-enough` when the bin holds less
    than the books say.
    """

    made_class = DispatchAnswer
    made_status = 201
    rule: Callable[..., Dispatch] = staticmethod(kits.hand_over)


class PutBack(KitAction):
    """Put a kit back into the queue, because the bin holds less than the books said.

    Answers `stale-state` when the kit is not set aside for posting.
    """

    rule = staticmethod(kits.put_back)


class Repost(KitAction):
    """Queue a kit that went missing to be posted once more; it waits if stock is short.

    Answers `stale-state` unless the kit was reported missing.
    """

    rule = staticmethod(kits.repost)


class TurnedUp(KitAction):
    """Note that a kit reported missing did arrive after all. The request is then settled.

    Answers `stale-state` unless the kit was reported missing.
    """

    rule = staticmethod(kits.turned_up)
