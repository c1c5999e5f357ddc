"""Mail to customers: a rule owes a letter with its fact, the worker writes and sends it.

The duty holds ids only. What the letter says is composed when it is sent, from what is true then.
"""

from __future__ import annotations

from datetime import datetime
from typing import Final

from inventory import outbox
from inventory.models import OutboxMessage
from returns.models import Request, ReturnedFrame

LETTERS: Final = frozenset(
    {
        "filed",
        "waiting_stock",
        "kit_reserved",
        "kit_posted",
        "missing",
        "address_changed",
        "withdrawn",
        "find_link",
        "arrived",
        "empty",
        "held",
        "graded",
        "posted_mended",
        "posted_as_is",
        "lenses_posted",
        "ground",
        "discarded",
    }
)


def enqueue(
    *, letter: str, request: Request, at: datetime, frame: ReturnedFrame | None = None
) -> OutboxMessage:
    """Owe the person behind a request one letter, in the caller's transaction.

    Safe to call when the person is erased or unknown: the duty is then settled without sending.
    """
    if letter not in LETTERS:
        raise ValueError(f"no letter is called {letter!r}")
    payload = {"letter": letter, "request": request.pk, "frame": frame.tag if frame else ""}
    return outbox.enqueue(topic="letter", subject=request.reference, at=at, payload=payload)


def enqueue_link(*, request: Request | None, at: datetime) -> OutboxMessage:
    """Owe the letter with the link; for None, a duty that looks the same and sends nothing."""
    payload = {"letter": "find_link", "request": request.pk if request else None, "frame": ""}
    return outbox.enqueue(topic="letter", subject="link", at=at, payload=payload)
