"""How often one visitor may try something, counted in Django's cache in fixed spans.

An embedded installation counts per process (its cache is in memory), a served one over all
processes (Redis; while that is away, per process as well). Addresses are kept as hashes and only
for the span.
"""

from __future__ import annotations

import hashlib

from django.core.cache import cache
from django.http import HttpRequest
from django.utils import timezone

from inventory.furniture import visitors

MINUTE_S = 60
HOUR_S = 3600


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
    """Asking for a link: per visitor, per reference (whether it exists or not), and in all."""
    # A list, and not a chain of `and`: every limit counts each try, also one that another has
    # refused.
    tries = [
        spend("find-visitor", visitors.address(request), most=10, span_s=MINUTE_S),
        spend("find-reference", reference, most=5, span_s=HOUR_S),
        spend("find-all", "all", most=300, span_s=HOUR_S),
    ]
    return all(tries)


def may_file(request: HttpRequest) -> bool:
    """Filing: generous enough for a household, tight enough for the photo decoder."""
    return spend("file", visitors.address(request), most=30, span_s=HOUR_S)


def may_write(reference: str) -> bool:
    """Having a mail sent by pressing a button: few times an hour, since others may get it."""
    return spend("write", reference, most=5, span_s=HOUR_S)


def may_answer(reference: str) -> bool:
    """Answering a question: a slip or two in the form, and no decoding of a hundred photos."""
    return spend("answer", reference, most=30, span_s=HOUR_S)
