"""Every API error as a problem document (RFC 9457, July 2023)."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import structlog
from django.conf import settings
from django.core.exceptions import PermissionDenied, SuspiciousOperation, ValidationError
from django.db import DataError, IntegrityError
from django.http import Http404
from django.utils.translation import gettext as _
from rest_framework import exceptions, status
from rest_framework.renderers import JSONRenderer
from rest_framework.response import Response
from rest_framework.views import set_rollback

from inventory.errors import BadInput, HingebackError, NotFound
from inventory.furniture import away
from inventory.furniture.api.problem_types import TYPES

MEDIA_TYPE = "application/problem+json"
WAIT_WHEN_BUSY_S = 5

log = structlog.get_logger(__name__)

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


class TooLarge(exceptions.APIException):
    """The body is over the limit of its address."""

    status_code = status.HTTP_413_REQUEST_ENTITY_TOO_LARGE


class ProblemResponse(Response):
    """JSON whatever the view otherwise renders: a page or a schema fails in JSON too."""

    @property
    def rendered_content(self) -> bytes:  # type: ignore[override]
        self["Content-Type"] = MEDIA_TYPE
        content: bytes = JSONRenderer().render(self.data)
        return content


def problem(code: str, status_code: int = 0, detail: str = "", **members: Any) -> ProblemResponse:
    """Return a response whose body is the problem document. Status 0 takes the type's own."""
    kind = TYPES[code]
    status_code = status_code or kind.status
    body = {
        "type": f"{settings.BASE_URL}/api/problems/#{code}",
        "title": str(kind.title),
        "status": status_code,
        **({"detail": _whole(detail)} if detail else {}),
        **members,
    }
    response = ProblemResponse(body, status=status_code)
    response["Cache-Control"] = "no-store"
    return response


def handler(error: Exception, context: dict[str, Any]) -> Response:
    """DRF's exception hook: every exception becomes a problem; unforeseen ones are logged."""
    # As DRF's own handler does: where a request is one transaction, the exception that is swallowed
    # here must not commit its first half.
    set_rollback()
    if isinstance(error, HingebackError):
        return _of_rule(error)
    if isinstance(error, exceptions.ValidationError):
        return _of_fields(error.detail)
    if isinstance(error, exceptions.APIException):
        return _of_framework(error)
    return _of_django(error) or _unforeseen(error, context)


def _of_django(error: Exception) -> Response | None:
    if isinstance(error, ValidationError):
        return problem("bad-input", detail=" ".join(error.messages))
    if isinstance(error, Http404):
        return problem("not-found", detail=NotFound().message)
    if isinstance(error, PermissionDenied):
        return problem("forbidden")
    if isinstance(error, SuspiciousOperation):
        return problem("bad-input", detail=_("The request could not be read. Check its form."))
    return _of_database(error)


def _of_database(error: Exception) -> Response | None:
    if isinstance(error, DataError):
        return problem("bad-input", detail=_("The request could not be read. Check its form."))
    # Two at once, where the slower one failed on what the faster wrote: trying again helps.
    if isinstance(error, IntegrityError):
        return problem("conflict", detail=_("The database refused this; read it and try again."))
    if away.is_away(error):
        response = problem("busy")
        response["Retry-After"] = str(WAIT_WHEN_BUSY_S)
        return response
    return None


def _unforeseen(error: Exception, context: dict[str, Any]) -> Response:
    """Log an error by its type and place alone; its text may hold what somebody typed."""
    view = type(context.get("view")).__name__
    log.error("api_failed", view=view, error=type(error).__name__, where=_where(error))
    return problem("internal")


def _where(error: Exception) -> list[str]:
    """Return file and line of the innermost frames, the last one where it happened."""
    frames = []
    trace = error.__traceback__
    while trace is not None:
        frames.append(f"{trace.tb_frame.f_code.co_filename}:{trace.tb_lineno}")
        trace = trace.tb_next
    return frames[-4:]


def _of_framework(error: exceptions.APIException) -> Response:
    if isinstance(error, TooLarge):
        return problem("too-large")
    code = next((name for kind, name in _BY_EXCEPTION if isinstance(error, kind)), "bad-input")
    response = problem(code, error.status_code, str(error.detail))
    wait = getattr(error, "wait", None)
    if wait is not None:
        # Up to the next second: a caller that waits exactly so long must not come too early.
        response["Retry-After"] = str(int(wait) + 1)
    authenticate = getattr(error, "auth_header", None)
    if authenticate:
        response["WWW-Authenticate"] = authenticate
    return response


def _of_rule(error: HingebackError) -> Response:
    members: dict[str, Any] = {}
    faults = [one for one in (error, *error.others) if isinstance(one, BadInput) and one.field]
    if faults:
        members["errors"] = [
            {"detail": _whole(one.message), "pointer": f"#/{one.field}"} for one in faults
        ]
    if error.facts.get("reasons"):
        members["reasons"] = [str(reason) for reason in error.facts["reasons"]]
    if "version" in error.facts:
        members["version"] = error.facts["version"]
    return problem(error.code, error.status, error.message, **members)


def _of_fields(detail: Any) -> Response:
    return problem(
        "bad-input",
        detail=_("See “errors” for each field and what to put right."),
        errors=list(_flat(detail, "#")),
    )


def _flat(detail: Any, pointer: str) -> Iterator[dict[str, str]]:
    """Yield DRF's nested error detail as messages with JSON pointers (RFC 6901)."""
    if isinstance(detail, dict):
        for name, inner in detail.items():
            step = "" if name == "non_field_errors" else f"/{_escaped(str(name))}"
            yield from _flat(inner, pointer + step)
    elif isinstance(detail, list):
        for index, inner in enumerate(detail):
            nested = isinstance(inner, dict | list)
            yield from _flat(inner, f"{pointer}/{index}" if nested else pointer)
    else:
        yield {"detail": _whole(str(detail)), "pointer": pointer}


def _escaped(name: str) -> str:
    """Return a name escaped as RFC 6901 asks for."""
    # The tilde first: after the slash it would escape the escape.
    return _whole(name).replace("~", "~0").replace("/", "~1")


def _whole(text: str) -> str:
    """Return text that can be encoded: half a surrogate pair, as JSON can hold one, becomes "?"."""
    return text.encode("utf-8", "replace").decode("utf-8")
