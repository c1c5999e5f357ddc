"""Pages behind a private link: never stored, never indexed, and the link never passed on."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.http import HttpRequest, HttpResponse

# `no-referrer` would be stricter still, but browsers then send `Origin: null` with every form and
# the CSRF guard refuses it. `same-origin` tells nobody outside this service anything either.
REFERRER_WITH_FORMS = "same-origin"
REFERRER_WITHOUT_FORMS = "no-referrer"


def personal(page: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Mark the answers of a page that its link alone opens."""

    @wraps(page)
    def marked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = page(request, *args, **kwargs)
        response["Cache-Control"] = "no-store"
        response["X-Robots-Tag"] = "noindex, nofollow"
        response.headers.setdefault("Referrer-Policy", REFERRER_WITH_FORMS)
        return response

    return marked


def filing_page(page: Callable[..., HttpResponse]) -> Callable[..., HttpResponse]:
    """Mark the answers of a filing form: with what somebody typed they are never stored.

    The empty form may stay in this browser, so that going back to it without scripts finds the
    same one-time key: sending it again then repeats the request and does not double it. The form
    is sent to another address (`?send`), since a browser forgets an address that it sends to.
    """
    marked_page = personal(page)

    @wraps(page)
    def marked(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        response = marked_page(request, *args, **kwargs)
        if request.method != "POST":
            response["Cache-Control"] = "private, max-age=0"
        return response

    return marked
