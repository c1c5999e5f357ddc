"""Who asks: the visitor's network address past our own proxies, and a browser that is known.

The one place that reads addresses: every limit on tries counts by what is said here.
"""

from __future__ import annotations

import secrets
from datetime import timedelta
from ipaddress import IPv6Address, ip_address, ip_network
from typing import TYPE_CHECKING

from django.conf import settings
from django.core import signing
from django.http import HttpRequest, HttpResponse

if TYPE_CHECKING:
    from django.contrib.auth.models import AbstractBaseUser

_SALT = "hingeback.known-browser"
_KNOWN_FOR = timedelta(days=180)
# Whoever has one address of the sixth version mostly has the 2^64 of its network.
_NETWORK_BITS = 64


def address(request: HttpRequest) -> str:
    """The address that the outermost trusted proxy saw; empty when nothing sensible is known.

    Each proxy adds what it saw to the right end of X-Forwarded-For, so with n proxies the n-th
    from the right is true, and all to its left was typed by the visitor.
    """
    hops = request.headers.get("X-Forwarded-For", "").split(",")
    proxies = settings.TRUSTED_PROXIES
    data = _plain(hops[-proxies]) if proxies and len(hops) >= proxies else ""
    return data or _plain(str(request.META.get("REMOTE_ADDR", "")))


def address_or_none(request: HttpRequest) -> str | None:
    """The same for a column of addresses, which takes no empty text."""
    return address(request) or None


def _plain(text: str) -> str:
    """An address without port and brackets; a network of the sixth version; else nothing."""
    text = text.strip()
    if text.startswith("["):
        text = text[1:].partition("]")[0]
    elif text.count(":") == 1:
        text = text.partition(":")[0]
    try:
        found = ip_address(text)
    except ValueError:
        return ""
    if not isinstance(found, IPv6Address):
        return str(found)
    if found.ipv4_mapped:
        return str(found.ipv4_mapped)
    network = ip_network((int(found), _NETWORK_BITS), strict=False)
    return str(network.network_address)


def remember(answer: HttpResponse, user: AbstractBaseUser) -> None:
    """Mark the browser in which somebody signed in. It opens nothing; its tries count apart."""
    data = {"name": user.get_username(), "mark": secrets.token_urlsafe(9)}
    answer.set_cookie(
        settings.KNOWN_COOKIE_NAME,
        signing.dumps(data, salt=_SALT),
        max_age=_KNOWN_FOR,
        secure=settings.SESSION_COOKIE_SECURE,
        httponly=True,
        samesite="Lax",
    )


def known_mark(request: HttpRequest, name: str) -> str:
    """The mark of a browser in which this name signed in before; empty for any other."""
    try:
        data = signing.loads(
            request.COOKIES.get(settings.KNOWN_COOKIE_NAME, ""), salt=_SALT, max_age=_KNOWN_FOR
        )
    except signing.BadSignature:
        return ""
    return str(data["mark"]) if data["name"] == name else ""
