"""A rule's refusal that no form caught becomes a plain page that says what to do."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from inventory.errors import HingebackError

METHOD_NOT_ALLOWED = 405


def _holds_nul(request: HttpRequest) -> bool:
    """Nothing lies under an address with a NUL in it, and PostgreSQL takes none in a question.

    What is asked and sent is the forms' and serializers' to check; the API says so itself.
    """
    return "\x00" in request.path_info and not request.path_info.startswith("/api/")


def _is_page(request: HttpRequest) -> bool:
    """A person opened the address of an action, say by a reload after the form was refused."""
    return request.method == "GET" and not request.path_info.startswith("/api/")


class RefusalMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if _holds_nul(request):
            return render(request, "404.html", status=404)
        answer = self.get_response(request)
        # The framework answers a wrong method with an empty page, which tells a person nothing.
        if answer.status_code == METHOD_NOT_ALLOWED and not answer.content and _is_page(request):
            page = render(request, "404.html", status=METHOD_NOT_ALLOWED)
            page.headers["Allow"] = answer.headers["Allow"]
            return page
        return answer

    def process_exception(self, request: HttpRequest, exception: Exception) -> HttpResponse | None:
        if not isinstance(exception, HingebackError):
            return None
        return render(
            request, "hingeback/refused.html", {"error": exception}, status=exception.status
        )
