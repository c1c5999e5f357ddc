"""The shapes of an API address: one that lists, one that shows, and one that acts once per key."""

from __future__ import annotations

from datetime import datetime
from typing import Any, ClassVar

from django.db import IntegrityError, transaction
from django.utils import timezone
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.serializers import BaseSerializer
from rest_framework.views import APIView

from inventory.furniture.api.idempotency import OncePerKey
from inventory.furniture.api.parsing import BoundedJSON
from inventory.furniture.api.schema import ProblemSchema
from inventory.furniture.api.shapes import Nothing


class Face(APIView):
    """What every address shares. No answer may be kept by a cache on its way."""

    schema = ProblemSchema()
    parser_classes = [BoundedJSON]
    # Who may call: see inventory.furniture.api.access.HasScope.
    scope: ClassVar[str | None] = "owner"

    def finalize_response(self, request: Any, response: Any, *args: Any, **kwargs: Any) -> Response:
        answer = super().finalize_response(request, response, *args, **kwargs)
        answer.headers.setdefault("Cache-Control", "no-store")
        return answer


class Listing(Face, ListAPIView[Any]):
    """GET lists `queryset`, page by page, through `filterset_class`, as `serializer_class`."""


class Detail(Face):
    """GET shows what `instance()` finds under the address, as `answer_class`."""

    answer_class: ClassVar[type[BaseSerializer[Any]]]

    def instance(self) -> Any:
        raise NotImplementedError

    def get(self, request: Request, **path: Any) -> Response:
        context = {"request": request}
        return Response(self.answer_class(self.instance(), context=context).data)


class ActionView(OncePerKey, Face):
    """POST reads `body_class`, calls `perform()`, and shows what it made as `made_class`."""

    body_class: ClassVar[type[BaseSerializer[Any]]] = Nothing
    made_class: ClassVar[type[BaseSerializer[Any]]]
    made_status: ClassVar[int] = 201

    def perform(self, data: dict[str, Any]) -> Any:
        """Call the one rule, with `self.action_key`, `self.at` and `self.by`."""
        raise NotImplementedError

    @property
    def by(self) -> Any:
        return self.request.user

    def do_post(self, request: Request, *args: Any, **path: Any) -> Response:
        # The clock is read once here: all that the action writes carries the same moment.
        self.at: datetime = timezone.now()
        context = {"request": request}
        body = self.body_class(data=request.data, context=context)
        body.is_valid(raise_exception=True)
        made = self._once_more_if_raced(body.validated_data)
        return Response(self.made_class(made, context=context).data, status=self.made_status)

    def _once_more_if_raced(self, given: dict[str, Any]) -> Any:
        """Call the rule, again if another caller made the same row at once: then it is found."""
        try:
            # A savepoint, so that the second try does not stand in a transaction that has failed.
            with transaction.atomic():
                return self.perform(given)
        except IntegrityError:
            return self.perform(given)
