"""What every page stands in: the workshop's name and practice banner, the doors, the CSRF refusal.

The doors are named by URL name; one whose page is not installed is left out.
"""

from __future__ import annotations

from contextvars import ContextVar
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.core.signals import request_finished
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import NoReverseMatch, reverse
from django.utils.functional import Promise, SimpleLazyObject
from django.utils.translation import gettext_lazy as _

from inventory.models import Workshop
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER, roles_of

STAFF = frozenset({BENCH, ACCOUNTANT, OWNER})


@dataclass(frozen=True)
class Door:
    """A link of the main navigation. `current` is the value of aria-current, empty elsewhere."""

    label: str | Promise
    path: str
    current: str = ""


# URL name, label, and the roles that see it; none means a visitor without a role.
_DOORS: tuple[tuple[str, str | Promise, frozenset[str]], ...] = (
    ("start", _("Ask for help"), frozenset()),
    ("find", _("Find my request"), frozenset()),
    ("home", _("Desk"), STAFF),
    ("bench", _("Bench"), frozenset({BENCH, OWNER})),
    ("months", _("Months"), frozenset({ACCOUNTANT, OWNER})),
    ("books", _("Books"), frozenset({ACCOUNTANT})),
    ("owner", _("Owner"), frozenset({OWNER})),
)

_shown: ContextVar[Any] = ContextVar("workshop_of_this_page", default=None)


def workshop(request: HttpRequest) -> dict[str, Any]:
    """Context processor: `workshop`, looked up once and only by a page that shows it.

    And `mail_goes_out`, without which no page may say that a letter comes.
    """
    del request
    # Lazy: a page that shows nothing of the workshop, or an answer to a probe, asks no database.
    shown = SimpleLazyObject(Workshop.the)
    _shown.set(shown)
    return {"workshop": shown, "mail_goes_out": settings.MAIL_GOES_OUT}


def currency() -> str:
    """The workshop's currency, from the page's own look-up where there is one."""
    shown = _shown.get()
    return str((shown if shown is not None else Workshop.the()).currency)


def _forget(**_signal: object) -> None:
    _shown.set(None)


# A thread serves many requests, and its context outlives each of them: without this the next page
# would show an old workshop.
request_finished.connect(_forget, dispatch_uid="hingeback-workshop-of-this-page")


def roles(request: HttpRequest) -> frozenset[str]:
    """The visitor's roles, looked up once a request."""
    known: frozenset[str] | None = getattr(request, "_hingeback_roles", None)
    if known is None:
        user = getattr(request, "user", None)
        known = roles_of(user) if user is not None else frozenset()
        request._hingeback_roles = known  # type: ignore[attr-defined]
    return known


def doors(request: HttpRequest) -> list[Door]:
    """The links that this visitor may follow, the current one marked."""
    held = roles(request)
    found = []
    for name, label, openers in _DOORS:
        path = address(name) if (held & openers or not (held or openers)) else ""
        if path:
            found.append(Door(label, path, _current(request.path, path)))
    user = getattr(request, "user", None)
    if user is not None and user.is_staff and user.is_active:
        found.append(Door(_("Admin"), reverse("admin:index")))
    return found


def address(name: str) -> str:
    """The path of a page by its URL name; empty when it is not installed."""
    try:
        return reverse(name)
    except NoReverseMatch:
        return ""


def _current(here: str, path: str) -> str:
    if here == path:
        return "page"
    return "true" if path != "/" and here.startswith(path) else ""


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """The form was open too long or came from elsewhere: say what to do, lose nothing."""
    del reason
    return render(request, "hingeback/csrf_failure.html", status=403)
