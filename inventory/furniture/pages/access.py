"""Who may open a page. Customers have no account: their pages carry a private link instead."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.contrib.auth.models import User
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import resolve_url

from inventory.staff.queries import roles_of


class StaffRequest(HttpRequest):
    """A request whose user is signed in; what `allow` hands on."""

    user: User


def _way_on(request: HttpRequest) -> str:
    """Where to go on after signing in: what was asked for, or the page an action was sent from.

    The address of an action takes no GET: to be led there would end on an empty page.
    """
    if request.method in ("GET", "HEAD"):
        return request.get_full_path()
    sent_from = urlsplit(request.headers.get("Referer", ""))
    # Never to another host: a sign-in that leads elsewhere is an open redirect.
    if sent_from.netloc != request.get_host():
        return resolve_url(settings.LOGIN_REDIRECT_URL)
    return sent_from._replace(scheme="", netloc="", fragment="").geturl()


def allow(*roles: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Open the page to these roles only: strangers go to the login, others get a plain 403."""

    def guard(page: Callable[..., Any]) -> Callable[..., Any]:
        @wraps(page)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
            if not request.user.is_authenticated:
                return redirect_to_login(_way_on(request))
            # Asked anew at each request: a role that was taken away is gone with the next page.
            if not roles_of(request.user) & set(roles):
                raise PermissionDenied
            response: HttpResponseBase = page(request, *args, **kwargs)
            # After signing out, the browser's back button must show nothing of the workshop.
            response.headers.setdefault("Cache-Control", "no-store")
            return response

        guarded.roles = frozenset(roles)  # type: ignore[attr-defined]
        return guarded

    return guard
