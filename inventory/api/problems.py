"""Every API error as a problem document (RFC 9457, July 2023)."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import PermissionDenied, ValidationError
from django.db import IntegrityError
from django.http import Http404
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework import exceptions, status
from rest_framework.response import Response
from rest_framework.views import set_rollback

from inventory.errors import BadInput, HingebackError, NotFound

MEDIA_TYPE = "application/problem+json"

TITLES = {
    "bad-input": gettext_lazy("The request holds something that must be put right"),
    "not-found": gettext_lazy("Nothing is under this address or code"),
    "not-signed-in": gettext_lazy("Sign in or send a token"),
    "forbidden": gettext_lazy("Your role or token may not do this"),
    "method-not-allowed": gettext_lazy("This address does not take this method"),
    "unsupported-media-type": gettext_lazy("Send the body in a media type that is taken here"),
    "not-acceptable": gettext_lazy("No media type that you accept is on offer"),
    "too-many-requests": gettext_lazy("Too many requests; wait and try again"),
    "conflict": gettext_lazy("The present state does not allow this"),
    "key-reused": gettext_lazy("This Idempotency-Key was used with another body"),
    "key-in-flight": gettext_lazy("The first request with this Idempotency-Key is still running"),
    "key-missing": gettext_lazy("Send an Idempotency-Key header with every POST"),
    "stale-state": gettext_lazy("The thing is no longer in the state this step needs"),
    "wrong-recipe": gettext_lazy("This kind of movement may not go between these places"),
    "not-enough": gettext_lazy("A place does not hold that much"),
    "already-reversed": gettext_lazy("The movement is reversed already"),
    "month-closed": gettext_lazy("The month is closed"),
    "month-not-ready": gettext_lazy("The month cannot be closed yet"),
    "box-changed": gettext_lazy("The box changed since the run was proposed"),
    "second-person-needed": gettext_lazy("A second person must confirm"),
}
"""Problem type (the last part of its URI) -> title."""

_BY_EXCEPTION: tuple[tuple[type[Exception], str], ...] = (
    (exceptions.NotAuthenticated, "not-signed-in"),
    (exceptions.AuthenticationFailed, "not-signed-in"),
    (exceptions.PermissionDenied, "forbidden"),
    (exceptions.NotFound, "not-found"),
    (exceptions.MethodNotAllowed, "method-not-allowed"),
    (exceptions.NotAcceptable, "not-acceptable"),
    (exceptions.UnsupportedMediaType, "unsupported-media-type"),
    (exceptions.Throttled, "too-many-requests"),
)


def problem(code: str, status_code: int, detail: str = "", **members: Any) -> Response:
    """A response whose body is the problem document."""
    body = {
        "type": f"{settings.BASE_URL}/api/problems/#{code}",
        "title": str(TITLES.get(code, code)),
        "status": status_code,
        **({"detail": detail} if detail else {}),
        **members,
    }
    response = Response(body, status=status_code)
    response["Content-Type"] = MEDIA_TYPE
    response.content_type = MEDIA_TYPE
    return response


def handler(error: Exception, context: dict[str, Any]) -> Response | None:
    """DRF's exception hook. None lets an unforeseen error become a 500 and be logged."""
    del context
    set_rollback()
    if isinstance(error, HingebackError):
        return _of_rule(error)
    if isinstance(error, exceptions.ValidationError):
        return _of_fields(error.detail)
    if isinstance(error, ValidationError):
        return problem("bad-input", 400, " ".join(error.messages))
    if isinstance(error, Http404):
        return problem("not-found", 404, NotFound().message)
    if isinstance(error, PermissionDenied):
        return problem("forbidden", 403)
    if isinstance(error, IntegrityError):
        return problem("conflict", 409, _("The database refused this; reload and try again."))
    return _of_framework(error)


def _of_framework(error: Exception) -> Response | None:
    if not isinstance(error, exceptions.APIException):
        return None
    code = next((name for kind, name in _BY_EXCEPTION if isinstance(error, kind)), "bad-input")
    response = problem(code, error.status_code, str(error.detail))
    wait = getattr(error, "wait", None)
    if wait is not None:
        response["Retry-After"] = str(int(wait) + 1)
    authenticate = getattr(error, "auth_header", None)
    if authenticate:
        response["WWW-Authenticate"] = authenticate
    return response


def _of_rule(error: HingebackError) -> Response:
    members: dict[str, Any] = {}
    if isinstance(error, BadInput) and error.field:
        members["errors"] = [{"detail": error.message, "pointer": f"#/{error.field}"}]
    if error.facts.get("reasons"):
        members["reasons"] = [str(reason) for reason in error.facts["reasons"]]
    return problem(error.code, error.status, error.message, **members)


def _of_fields(detail: Any) -> Response:
    errors = list(_flat(detail, "#"))
    return problem(
        "bad-input",
        status.HTTP_400_BAD_REQUEST,
        _("See “errors” for each field and what to put right."),
        errors=errors,
    )


def _flat(detail: Any, pointer: str) -> Any:
    """DRF's nested error detail as a list of messages with JSON pointers."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            step = "" if name == "non_field_errors" else f"/{name}"
            yield from _flat(inner, pointer + step)
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, dict | list)
            yield from _flat(inner, f"{pointer}/{index}" if nested else pointer)
    else:
        yield {"detail": str(detail), "pointer": pointer}
