"""The customers' door before the workshop is set up: it says so, instead of an empty form."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from returns.setup import queries as readiness

Page = Callable[[HttpRequest], HttpResponse]


def once_open(page: Page) -> Page:
    """Show the page once the set-up's needed steps are done; what is sent before is not taken."""

    @wraps(page)
    def guarded(request: HttpRequest) -> HttpResponse:
        if readiness.is_open():
            return page(request)
        status = 409 if request.method == "POST" else 200
        return render(request, "returns/customer/not_open.html", status=status)

    return guarded
