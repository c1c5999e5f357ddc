"""How an address describes itself: body and answer of its action, its key, scope and problems."""

from __future__ import annotations

from typing import Any

from drf_spectacular.extensions import OpenApiAuthenticationExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse
from rest_framework import serializers

IDEMPOTENCY_KEY = OpenApiParameter(
    "Idempotency-Key",
    OpenApiTypes.STR,
    OpenApiParameter.HEADER,
    required=True,
    description="8 to 200 visible characters, best a fresh UUID; the same one when you retry.",
    pattern=r"^[!#-~]{8,200}$",
)


class FieldProblem(serializers.Serializer[Any]):
    detail = serializers.CharField()
    pointer = serializers.CharField()


class Problem(serializers.Serializer[Any]):
    """RFC 9457."""

    type = serializers.CharField()
    title = serializers.CharField()
    status = serializers.IntegerField()
    detail = serializers.CharField(required=False)
    errors = FieldProblem(many=True, required=False)  # type: ignore[assignment]
    reasons = serializers.ListField(child=serializers.CharField(), required=False)
    version = serializers.IntegerField(
        required=False, help_text="Where the caller's version is an older one: the present one."
    )


_PROBLEM_WORDS = {
    "400": "Something must be put right",
    "401": "Sign in or send a token",
    "403": "Role or token may not do this",
    "404": "Nothing under this code",
    "406": "No media type on offer",
    "409": "The present state does not allow this",
    "413": "Body too large",
    "415": "Media type not taken",
    "422": "Key used with another body",
    "429": "Too many requests",
    "503": "Busy",
}


class BearerScheme(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Names the token way in for the description of the API."""

    target_class = "inventory.furniture.api.tokens.TokenAuthentication"
    name = "token"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {"type": "http", "scheme": "bearer"}


class ProblemSchema(AutoSchema):
    """Reads the class attributes of `inventory.furniture.api.views`."""

    view: Any

    def get_operation_id(self) -> str:
        return f"{self.method.lower()}{type(self.view).__name__}"

    def get_override_parameters(self) -> list[Any]:
        named = list(getattr(self.view, "header_parameters", []))
        return [IDEMPOTENCY_KEY, *named] if self.method == "POST" else named

    def get_request_serializer(self) -> Any:
        return self.view.body_class if self.method == "POST" else None

    def get_response_serializers(self) -> Any:
        if self.method == "POST":
            good = {str(self.view.made_status): self.view.made_class}
        elif hasattr(self.view, "answer_class"):
            good = {"200": self.view.answer_class}
        else:
            good = {"200": self.view.serializer_class}
        return good | {
            (code, "application/problem+json"): OpenApiResponse(Problem, _PROBLEM_WORDS[code])
            for code in self._problem_codes()
        }

    def get_description(self) -> str:  # type: ignore[override]
        scope = self._scope()
        asked = "Open to all." if scope is None else f"Needs the scope “{scope}”."
        return f"{super().get_description()}\n\n{asked}".strip()

    def _scope(self) -> str | None:
        scope: str | None = self.view.scope
        return scope if self.method == "POST" else getattr(self.view, "read_scope", scope)

    def _problem_codes(self) -> list[str]:
        codes = {"400", "401", "404", "406", "503"}
        if self._scope() is not None:
            codes |= {"403"}
        if self.method == "POST":
            codes |= {"403", "409", "413", "415", "422"}
        if getattr(self.view, "throttle_classes", ()):
            codes |= {"429"}
        return sorted(codes)
