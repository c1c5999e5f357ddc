"""What the API says of itself: its OpenAPI description, a page to browse it, and its problems."""

from __future__ import annotations

from typing import Any

from django.template.loader import render_to_string
from drf_spectacular.views import SpectacularAPIView
from rest_framework.permissions import AllowAny
from rest_framework.renderers import StaticHTMLRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from inventory.errors import NotFound
from inventory.furniture.api.problem_types import TYPES


class Description(SpectacularAPIView):
    """The OpenAPI 3 description, as YAML or JSON."""

    permission_classes = [AllowAny]


class Page(APIView):
    """An HTML page under /api/; its refusals are problem documents like every other."""

    permission_classes = [AllowAny]
    renderer_classes = [StaticHTMLRenderer]
    schema = None
    template = ""
    context: dict[str, Any] = {}

    def get(self, request: Request) -> Response:
        return Response(render_to_string(self.template, self.context, request=request._request))


class Problems(Page):
    """Every problem type, each under its own anchor."""

    template = "returns/api/problems.html"
    context = {"types": TYPES}


class Docs(Page):
    """The browsable description, under the same Content Security Policy as every page.

    Its scripts are files of this server; what it styles, it styles through the style object.
    """

    template = "returns/api/docs.html"


class Unknown(APIView):
    """Every other address under /api/."""

    permission_classes = [AllowAny]
    schema = None

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        raise NotFound()
