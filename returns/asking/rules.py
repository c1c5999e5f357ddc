"""Asking a customer about a frame, the answer, and taking the question back."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db import transaction
from django.db.models import F
from django.utils.translation import gettext as _

from inventory import clock, events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.masters import queries as masters
from inventory.models import Event, Workshop
from returns.asking import queries, sums
from returns.customers import rules as people
from returns.filing.rules import photos
from returns.filing.rules.photos import Picture
from returns.letters import rules as letters
from returns.models import Question, QuestionPhoto, ReturnedFrame
from returns.story.sums.states import ON_A_SHELF

if TYPE_CHECKING:
    from django.contrib.auth.models import User

TEXT_LENGTH_MAX: Final = 500
ANSWER_LENGTH_MAX: Final = 1000
CHOICE_LENGTH_MAX: Final = 80
CHOICES = range(2, 7)
_BATCH: Final = 200


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked. Without `choices` the customer answers in their own words."""

    text: str
    choices: Sequence[str] = ()

    def tidy(self) -> Asked:
        """The same without blanks. BadInput names the field that will not do."""
        text, choices = self.text.strip(), [" ".join(one.split()) for one in self.choices]
        choices = [one for one in choices if one]
        if not 1 <= len(text) <= TEXT_LENGTH_MAX or "\x00" in text:
            raise BadInput(
                _("Write what you ask, in up to %(max)s characters.") % {"max": TEXT_LENGTH_MAX},
                field="text",
            )
        if choices and len(choices) not in CHOICES:
            raise BadInput(
                _("Give %(least)s to %(most)s answers to choose from, or none.")
                % {"least": CHOICES[0], "most": CHOICES[-1]},
                field="choices",
            )
        if any(len(one) > CHOICE_LENGTH_MAX or "\x00" in one for one in choices):
            raise BadInput(
                _("An answer to choose may hold %(max)s characters.") % {"max": CHOICE_LENGTH_MAX},
                field="choices",
            )
        if len({one.casefold() for one in choices}) < len(choices):
            raise BadInput(_("One answer is there twice. Write it once."), field="choices")
        return Asked(text, tuple(choices))


@dataclass(frozen=True, slots=True)
class Answer:
    """What the customer says: one of the choices where there are some, and their own words."""

    chosen: str = ""
    text: str = ""

    def values(self) -> list[str]:
        return [self.chosen.strip(), self.text.strip()]


def _frame_salt(frame: ReturnedFrame) -> str:
    return frame.request.link_salt if frame.request else ""


def _asked(key: UUID) -> Question:
    return Question.objects.get(key=key)


def _again(question: Question) -> Question:
    return Question.objects.get(pk=question.pk)


@events.rule(
    "asking.ask",
    # What is asked may name a person: it enters the fingerprint under the link's salt, which goes
    # with the person's data.
    facts=lambda frame, asked: [
        frame.tag,
        people.mark([asked.text.strip(), *asked.choices], _frame_salt(frame)),
    ],
    again=_asked,
    aside=["picture"],
)
def ask(
    event: Draft,
    /,
    *,
    key: UUID,
    frame: ReturnedFrame,
    asked: Asked,
    at: datetime,
    by: User,
    picture: Picture | None = None,
) -> Question:
    """Ask the customer about a frame. It waits for the answer, and its promise pauses.

    Raises BadInput for a question that will not do, StaleState when nobody can be asked, when the
    frame has left, or when a question about it is open already.
    """
    tidy = asked.tidy()
    # Held before anything is read: whoever decides about the frame holds the same row.
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=ON_A_SHELF)
    held = rows.update(state=F("state"))
    fresh = ReturnedFrame.objects.select_related("request__person").get(pk=frame.pk)
    if held != 1 or not queries.may_ask(fresh) or fresh.request is None:
        raise StaleState(_("Nobody can be asked about this frame now."))
    queries.refuse_waiting(fresh)
    question = Question.objects.create(
        key=key,
        request=fresh.request,
        frame=fresh,
        text=tidy.text,
        choices=list(tidy.choices),
        asked_at=at,
        asked_on=clock.day_of(at),
        asked_by=by,
    )
    _keep(question, QuestionPhoto.Side.ASKED, picture, at)
    letters.enqueue(letter="question", request=fresh.request, frame=fresh, at=at)
    event.of(frame.tag, question=question.pk)
    return question


@events.rule(
    "asking.answer",
    facts=lambda question, said: [
        question.pk,
        people.mark(said.values(), question.request.link_salt),
    ],
    again=_again,
    aside=["picture"],
)
def answer(
    event: Draft,
    /,
    *,
    key: UUID,
    question: Question,
    said: Answer,
    at: datetime,
    picture: Picture | None = None,
    by: User | None = None,
) -> Question:
    """Answer a question: the frame goes on, and its promise runs again. `by` is the person at the
    bench who writes down what the customer told.

    Raises BadInput for an answer that will not do, StaleState when the question is not open.
    """
    chosen, text = said.values()
    _refuse_bad_answer(question, chosen, text, has_picture=picture is not None)
    _close(question, Question.State.ANSWERED, at, by, chosen=chosen, answer=text)
    _keep(question, QuestionPhoto.Side.ANSWERED, picture, at)
    event.of(question.frame.tag, question=question.pk)
    return _again(question)


@events.rule("asking.withdraw", facts=lambda question: [question.pk], again=_again)
def withdraw(event: Draft, /, *, key: UUID, question: Question, at: datetime, by: User) -> Question:
    """Take a question back: the frame goes on. Both stay in the history.

    Raises StaleState when it is answered or withdrawn already.
    """
    _close(question, Question.State.WITHDRAWN, at, by)
    event.of(question.frame.tag, question=question.pk)
    return _again(question)


def _refuse_bad_answer(question: Question, chosen: str, text: str, *, has_picture: bool) -> None:
    if question.choices and chosen not in question.choices:
        raise BadInput(_("Choose one of the answers."), field="chosen")
    if not question.choices and chosen:
        raise BadInput(_("There is nothing to choose: write your answer."), field="chosen")
    if len(text) > ANSWER_LENGTH_MAX or "\x00" in text:
        raise BadInput(
            _("Use at most %(room)s characters of plain text.") % {"room": ANSWER_LENGTH_MAX},
            field="text",
        )
    if not question.choices and not text and not has_picture:
        raise BadInput(_("Write your answer, or choose a photo."), field="text")


def _close(question: Question, state: str, at: datetime, by: User | None, **said: Any) -> None:
    # The frame's row before the question's, in the order in which it was asked.
    ReturnedFrame.objects.filter(pk=question.frame_id).update(state=F("state"))
    rows = Question.objects.filter(pk=question.pk, state=Question.State.OPEN)
    if rows.update(state=state, closed_at=at, closed_by=by, **said) != 1:
        raise StaleState(_("This question is answered or withdrawn already."))
    frame = ReturnedFrame.objects.get(pk=question.frame_id)
    is_closed = masters.closed_days(Workshop.the())
    day = sums.moved(frame.promised_by, question.asked_on, clock.day_of(at), is_closed)
    ReturnedFrame.objects.filter(pk=frame.pk).update(promised_by=day)


def _keep(question: Question, side: str, picture: Picture | None, at: datetime) -> None:
    if picture is None:
        return
    QuestionPhoto.objects.create(
        question=question,
        side=side,
        file_name=photos.stored(picture),
        width=picture.width,
        height=picture.height,
        added_at=at,
    )


@transaction.atomic
def remind(at: datetime) -> int:
    """Write once to those who have not answered. Returns to how many."""
    found = list(queries.to_remind(at).select_related("request", "frame")[:_BATCH])
    for question in found:
        rows = Question.objects.filter(pk=question.pk, state=Question.State.OPEN, reminded_at=None)
        # The mark is set before the letter is enqueued: of two workers one writes.
        if rows.update(reminded_at=at) == 1:
            letters.enqueue(
                letter="question_reminder", request=question.request, frame=question.frame, at=at
            )
            _record(question, at)
    return len(found)


def _record(question: Question, at: datetime) -> Event:
    tag, name = question.frame.tag, "asking.remind"
    return events.record(key=uuid.uuid4(), name=name, subject=tag, facts=[name, question.pk], at=at)
