"""What an operator's probes ask. Three questions that are easily taken for one.

Alive: this process answers. Ready: it can serve, so a proxy may send people here. Health: is all
well with the whole service, worker, disk and copies included? Only people act upon the last.
"""

from __future__ import annotations

import hmac
from collections.abc import Callable
from functools import cache, wraps

from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_safe

from deploy import metrics
from inventory.furniture.pages.access import allow
from inventory.running.queries import health
from inventory.staff.queries import OWNER

View = Callable[[HttpRequest], HttpResponse]


def alive(request: HttpRequest) -> JsonResponse:
    """The process answers. Touches nothing."""
    del request
    return JsonResponse({"alive": True})


def ready(request: HttpRequest) -> JsonResponse:
    """The database answers and has the tables that this code knows.

    Says nothing of the worker: one in trouble must not take sound web processes out of rotation.
    """
    del request
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        migrated = _is_migrated()
    except DatabaseError:
        return JsonResponse({"database": False, "migrated": None}, status=503)
    return JsonResponse({"database": True, "migrated": migrated}, status=200 if migrated else 503)


def _is_migrated() -> bool:
    """Whether nothing is left to migrate; asked until it is so, then remembered."""
    try:
        return _once_migrated()
    except _Unmigrated:
        return False


@cache
def _once_migrated() -> bool:
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        raise _Unmigrated  # an exception is not remembered
    return True


class _Unmigrated(Exception):
    """The code is newer than the tables."""


def watched(view: View) -> View:
    """For a monitor that sends HINGEBACK_MONITOR_TOKEN as its bearer token, and for the owner."""

    @never_cache
    @require_safe
    @wraps(view)
    def checked(request: HttpRequest) -> HttpResponse:
        token = settings.MONITOR_TOKEN
        sent = request.headers.get("Authorization", "")
        if token and hmac.compare_digest(sent.encode(), f"Bearer {token}".encode()):
            return view(request)
        answer: HttpResponse = allow(OWNER)(view)(request)
        return answer

    return checked


@watched
def whole(request: HttpRequest) -> JsonResponse:
    """All checks with what each saw; a monitor gets 503 as soon as one wants a person."""
    found = health.checks(timezone.now())
    is_well = all(check.is_well for check in found)
    body = {
        "well": is_well,
        "checks": {
            check.code: {"well": check.is_well, "seen": check.seen, "unit": check.unit}
            for check in found
        },
    }
    # The owner reads the body; only a monitor goes by the status.
    is_read = request.user.is_authenticated
    return JsonResponse(body, status=200 if is_well or is_read else 503)


@watched
def measured(request: HttpRequest) -> HttpResponse:
    """Figures of all processes of this machine, in the text format of Prometheus."""
    del request
    return HttpResponse(metrics.text(), content_type=metrics.MEDIA_TYPE)
