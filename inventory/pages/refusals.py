"""A rule's refusal that no form caught becomes a plain page that says what to do."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.errors import HingebackError


class RefusalMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, HingebackError):
            return None
        return render(
            request, "hingeback/refused.html", {"error": exception}, status=exception.status
        )
