"""What every page stands in: the workshop's name and practice banner, and the CSRF refusal."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.functional import SimpleLazyObject

from inventory.models import Workshop


def workshop(request: HttpRequest) -> dict[str, Any]:
    """Context processor: `workshop`, looked up only by a page that shows it."""
    del request
    return {"workshop": SimpleLazyObject(Workshop.the)}


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The form was open too long or came from elsewhere: say what to do, lose nothing."""
    del reason
    return render(request, "hingeback/csrf_failure.html", status=403)
