"""Two questions an operator's probe asks: is the process alive, and can it do its work?"""

from __future__ import annotations

from datetime import timedelta

from django.db import DatabaseError, connection
from django.http import HttpRequest, JsonResponse
from django.utils import timezone

from inventory.models import OutboxMessage

STUCK_AFTER = timedelta(minutes=10)


def alive(request: HttpRequest) -> JsonResponse:
    """The process answers. Touches nothing."""
    del request
    return JsonResponse({"alive": True})


def ready(request: HttpRequest) -> JsonResponse:
    """The database answers, and no message has waited too long for the worker."""
    del request
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        # By the work left undone and not by a sign of life: a worker that hangs may still answer.
        late = OutboxMessage.objects.filter(
            settled_at=None, given_up_at=None, available_at__lt=timezone.now() - STUCK_AFTER
        ).exists()
    except DatabaseError:
        return JsonResponse({"database": False, "worker": None}, status=503)
    return JsonResponse({"database": True, "worker": not late}, status=503 if late else 200)
