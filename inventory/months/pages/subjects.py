"""From a code or a place in the books to the page of what it names, for who may open it.

The pages belong to the other room; they are named by URL name, and one that is not installed, or
that the reader may not enter, gives no link.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final
from urllib.parse import urlencode

from django.urls import NoReverseMatch, reverse

from inventory.models import Place
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER

_BOOKS: Final = frozenset({ACCOUNTANT, BENCH, OWNER})
_PAGES: Final[Mapping[str, tuple[str, frozenset[str]]]] = {
    "F-": ("frame", _BOOKS),
    "L-": ("heat", _BOOKS),
    "G-": ("run", frozenset({BENCH, OWNER})),
}


def address(subject: str, roles: frozenset[str]) -> str:
    """Return the page of a frame, lot or run by its code; empty where this reader has none."""
    name, openers = _PAGES.get(subject[:2], ("", _BOOKS))
    if not name or not roles & openers:
        return ""
    try:
        return reverse(name, args=[subject])
    except NoReverseMatch:
        return ""


def of_place(place: Place, roles: frozenset[str]) -> str:
    """Return a lot's own page; for a box or a bin, all movements that touch it."""
    own = address(place.lot.code, roles) if place.lot else ""
    if own or not (place.polymer or place.part):
        return own
    return f"{reverse('movements')}?{urlencode({'subject': place.code})}"
