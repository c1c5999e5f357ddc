"""Which frames wait for an answer, and since when. Reads."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta

from django.db.models import Exists, OuterRef, QuerySet
from django.utils.translation import gettext as _

from inventory import clock
from inventory.errors import StaleState
from inventory.models import Event
from returns.asking import sums
from returns.models import Question, ReturnedFrame, Terms
from returns.story.sums.states import ON_A_SHELF, FrameState

ANSWER: str = "asking.answer"
"""The event of an answer, as long as nothing else has happened to the frame since."""


def of_frame(frame: ReturnedFrame) -> list[Question]:
    """Return every question about a frame with its photos, the newest first."""
    rows = frame.questions.select_related("asked_by", "closed_by").prefetch_related("photos")
    return list(rows.order_by("-pk")[:50])


def open_of(frames: Iterable[ReturnedFrame]) -> dict[int, Question]:
    """Return the open question by the frame's key, in one question to the database."""
    rows = Question.objects.filter(frame__in=list(frames), state=Question.State.OPEN)
    return {one.frame_id: one for one in rows.prefetch_related("photos")}


def refuse_waiting(frame: ReturnedFrame) -> None:
    """Raise StaleState while a question about the frame waits for its answer.

    Call it once the frame's row is held: a question is asked under the same lock.
    """
    if Question.objects.filter(frame=frame, state=Question.State.OPEN).exists():
        raise StaleState(
            _(
                "The customer was asked about this frame, and it waits for the answer. Note the "
                "answer or withdraw the question first, on the frame's page."
            )
        )


def marked(rows: QuerySet[ReturnedFrame]) -> QuerySet[ReturnedFrame]:
    """The frames with `asked_on`, the day of their open question, and `last_event`, its name."""
    asked = Question.objects.filter(frame=OuterRef("pk"), state=Question.State.OPEN)
    latest = Event.objects.filter(subject=OuterRef("tag")).order_by("-pk")
    return rows.annotate(
        asked_on=asked.values("asked_on")[:1], last_event=latest.values("name")[:1]
    )


def waiting(rows: QuerySet[ReturnedFrame]) -> QuerySet[ReturnedFrame]:
    """Return the frames among `rows` that wait for an answer."""
    return rows.filter(Exists(Question.objects.filter(frame=OuterRef("pk"), state="open")))


def not_pausing(rows: QuerySet[ReturnedFrame]) -> QuerySet[ReturnedFrame]:
    """Return the frames among `rows` whose promise runs, or was broken before anybody asked."""
    paused = Question.objects.filter(
        frame=OuterRef("pk"), state=Question.State.OPEN, asked_on__lte=OuterRef("promised_by")
    )
    return rows.exclude(Exists(paused))


def pauses(frame: ReturnedFrame, question: Question | None) -> bool:
    """Tell whether the frame's promise pauses: what was late when it was asked stays late."""
    return question is not None and not sums.was_late(frame.promised_by, question.asked_on)


def to_remind(at: datetime) -> QuerySet[Question]:
    """Return open questions older than the days to a reminder, and not reminded yet."""
    limit = clock.day_of(at) - timedelta(days=Terms.the().question_remind_days)
    rows = Question.objects.filter(state=Question.State.OPEN, asked_on__lte=limit)
    return rows.filter(reminded_at=None).order_by("pk")


def unanswered(at: datetime) -> QuerySet[Question]:
    """Return open questions so old that the owner shall see them, the oldest first."""
    limit = clock.day_of(at) - timedelta(days=Terms.the().question_owner_days)
    rows = Question.objects.filter(state=Question.State.OPEN, asked_on__lte=limit)
    return rows.select_related("frame").order_by("asked_on", "pk")


def owner_day(asked_on: date) -> date:
    """Return the day from which an unanswered question is shown to the owner."""
    return asked_on + timedelta(days=Terms.the().question_owner_days)


def may_ask(frame: ReturnedFrame) -> bool:
    """Tell whether there is somebody to ask about a frame that is still in the house."""
    request = frame.request
    known = request is not None and request.person is not None
    return bool(
        known
        and request
        and request.person
        and request.person.erased_at is None
        and FrameState(frame.state) in ON_A_SHELF
    )
