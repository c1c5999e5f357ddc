"""How often one visitor may try something, counted in Django's cache in fixed spans.

An embedded installation counts per process (its cache is in memory), a served one over all
processes (Redis; while that is away, per process as well). Addresses are kept as hashes and only
for the span.
"""

from __future__ import annotations

import hashlib
from typing import Final

import structlog
from django.core.cache import cache
from django.http import HttpRequest
from django.utils import timezone

from inventory.furniture import visitors

log = structlog.get_logger(__name__)

MINUTE_S = 60
HOUR_S = 3600
FLOOD: Final = 300
"""Tries of everybody in an hour from which on the owner is told."""
_ALARM, _ALARM_SHOWN = "finding-flood", "finding-flood-shown"


def spend(bucket: str, who: str, *, most: int, span_s: int) -> bool:
    """Count one try of `who`; whether it is among the `most` that fit in the current span."""
    slot = int(timezone.now().timestamp()) // span_s
    digest = hashlib.sha256(who.encode()).hexdigest()[:32]
    # The span is in the key: nothing has to be reset, old counts fall out of the cache by
    # themselves.
    key = f"tries:{bucket}:{digest}:{slot}"
    # `add` writes only where nothing is and `incr` is one step in Redis: two tries at once are both
    # counted.
    cache.add(key, 0, timeout=2 * span_s)
    try:
        return cache.incr(key) <= most
    except ValueError:
        # The cache dropped the count between the two calls; the try is the first of a new one.
        cache.set(key, 1, timeout=2 * span_s)
        return most >= 1


def may_find(request: HttpRequest, reference: str) -> bool:
    """Asking for a link: per visitor, and per visitor and reference, whether it exists or not.

    What others ask counts for nobody: a limit of all could be spent by strangers, and shut the page
    to customers. Very many tries of all raise an alarm instead.
    """
    visitor = visitors.address(request)
    # A list, and not a chain of `and`: every limit counts each try, also one that another has
    # refused.
    tries = [
        spend("find-visitor", visitor, most=10, span_s=MINUTE_S),
        spend("find-reference", f"{visitor} {reference}", most=5, span_s=HOUR_S),
    ]
    if not spend("find-all", "all", most=FLOOD, span_s=HOUR_S):
        _raise_alarm()
    return all(tries)


def _raise_alarm() -> None:
    # Said once an hour: a flood of lines would hide what else there is.
    if cache.add(_ALARM, 1, timeout=HOUR_S):
        log.error("finding_flood", tries_above=FLOOD)
        cache.set(_ALARM_SHOWN, 1, timeout=24 * HOUR_S)


def is_flooded() -> bool:
    """Whether within a day somebody tried references in great number: the owner is told."""
    return cache.get(_ALARM_SHOWN) is not None


def may_draw(reference: str) -> bool:
    """Having a paper drawn: it takes a second of the machine, and nobody needs it often."""
    return spend("draw", reference, most=12, span_s=10 * MINUTE_S)


def may_file(request: HttpRequest) -> bool:
    """Filing: generous enough for a household, tight enough for the photo decoder."""
    return spend("file", visitors.address(request), most=30, span_s=HOUR_S)


def may_write(reference: str) -> bool:
    """Having a mail sent by pressing a button: few times an hour, since others may get it."""
    return spend("write", reference, most=5, span_s=HOUR_S)


def may_answer(reference: str) -> bool:
    """Answering a question: a slip or two in the form, and no decoding of a hundred photos."""
    return spend("answer", reference, most=30, span_s=HOUR_S)
