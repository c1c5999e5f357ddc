"""Mail to customers: a rule enqueues a letter with its fact, the worker writes and sends it.

The message holds ids only. What the letter says is composed when it is sent, from what is true
then.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Final

from inventory import outbox
from inventory.models import OutboxMessage
from returns.models import Parcel, Question, Request, ReturnedFrame, Terms

LETTERS: Final = frozenset(
    {
        "filed",
        "taken_in",
        "waiting_stock",
        "kit_reserved",
        "kit_posted",
        "missing",
        "address_changed",
        "email_changed",
        "email_left",
        "reminder",
        "resting",
        "withdrawn",
        "find_link",
        "arrived",
        "empty",
        "held",
        "graded",
        "posted_mended",
        "posted_as_is",
        "lenses_posted",
        "ready",
        "handed_over",
        "ground",
        "discarded",
        "question",
        "question_reminder",
    }
)

CAN_BE_TAKEN_BACK: Final = frozenset({"arrived", "empty", "held", "graded", "question"})
"""About what a hand may have done by mistake: they wait, and are not sent if it is undone."""


def enqueue(
    *,
    letter: str,
    request: Request,
    at: datetime,
    frame: ReturnedFrame | None = None,
    parcel: Parcel | None = None,
) -> OutboxMessage:
    """Enqueue one letter to the person behind a request, in the caller's transaction.

    Safe to call when the person is erased or unknown: the message is then settled without sending.
    """
    # A slip of ours, not of a visitor: it should stop the rule here and not the worker later.
    if letter not in LETTERS:
        raise ValueError(f"no letter is called {letter!r}")
    # Codes and ids only. The outbox is kept, and an erased person must not live on in it.
    payload = {"letter": letter, "request": request.pk, "frame": frame.tag if frame else ""}
    if parcel is not None:
        payload["parcel"] = parcel.code
    # One question at most is open about a frame: the one that this letter was written for.
    if letter.startswith("question"):
        rows = Question.objects.filter(frame=frame, state=Question.State.OPEN)
        payload["question"] = rows.values_list("pk", flat=True).first()
    wait = timedelta(0)
    if letter in CAN_BE_TAKEN_BACK:
        wait = timedelta(minutes=Terms.the().letter_wait_minutes)
        # The decision that this letter speaks of: should another one come first, this letter is not
        # sent.
        grading = frame.gradings.first() if frame else None
        payload["grading"] = grading.pk if grading else None
    return outbox.enqueue(
        topic="letter", subject=request.reference, at=at, payload=payload, wait=wait
    )


def enqueue_link(*, request: Request | None, at: datetime) -> OutboxMessage:
    """Enqueue the letter with the link; for None, a message that looks alike and sends nothing."""
    # The same row with the same work whether there is a request or not, so that neither the answer
    # nor its time tells a stranger.
    payload = {"letter": "find_link", "request": request.pk if request else None, "frame": ""}
    return outbox.enqueue(topic="letter", subject="link", at=at, payload=payload)
