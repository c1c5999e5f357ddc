"""Questions to a customer: the bench asks, the holder of the private link answers."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers
from rest_framework.parsers import MultiPartParser

from inventory.errors import NotFound
from inventory.furniture.api.parsing import BoundedJSON
from inventory.furniture.api.shapes import Body
from inventory.furniture.api.throttles import VisitorThrottle
from inventory.furniture.api.views import Listing
from returns.asking import rules
from returns.asking.rules import ANSWER_LENGTH_MAX, CHOICE_LENGTH_MAX, CHOICES, TEXT_LENGTH_MAX
from returns.filing.rules import photos
from returns.grading.api import FrameAction
from returns.models import Question, ReturnedFrame
from returns.story.api.stories import QuestionAnswer, StoryAction


class AskBody(Body):
    text = serializers.CharField(max_length=TEXT_LENGTH_MAX)
    choices = serializers.ListField(
        child=serializers.CharField(max_length=CHOICE_LENGTH_MAX),
        max_length=CHOICES[-1],
        default=list,
        help_text="Answers to choose from; none for an answer in the customer's own words.",
    )


class Questions(FrameAction, Listing):
    """GET lists what the customer was asked about a frame; POST asks, and the frame waits.

    A letter goes to the customer. Until the answer, or until the question is withdrawn, nothing is
    decided or done about the frame, and its promised day moves by the days of waiting. POST answers
    `bad-input` for a question that will not do, and `stale-state` when nobody can be asked, when
    the frame has left, or when a question is open already.
    """

    scope = "bench"
    serializer_class = QuestionAnswer
    body_class = AskBody
    made_class = QuestionAnswer
    made_status = 201

    def get_queryset(self) -> Any:
        # The description of the API asks without a tag.
        if "tag" not in self.kwargs:
            return Question.objects.none()
        return Question.objects.filter(frame=self.frame()).select_related("frame").order_by("-pk")

    def perform(self, data: dict[str, Any]) -> Question:
        return rules.ask(
            key=self.action_key,
            frame=self.frame(),
            asked=rules.Asked(data["text"], data["choices"]),
            at=self.at,
            by=self.by,
        )


class QuestionWithdrawals(FrameAction):
    """Withdraw the question that is open about a frame: it goes on, and its promise runs again.

    Answers `not-found` when nothing was asked, and `stale-state` when the last question is answered
    or withdrawn already.
    """

    made_class = QuestionAnswer

    def perform(self, _data: dict[str, Any]) -> Question:
        return rules.withdraw(
            key=self.action_key, question=_latest(self.frame()), at=self.at, by=self.by
        )


def _latest(frame: ReturnedFrame) -> Question:
    found = frame.questions.select_related("frame", "request").order_by("-pk").first()
    if found is None:
        raise NotFound()
    return found


class AnswerBody(Body):
    question = serializers.IntegerField(min_value=1, help_text="Its number in the story.")
    chosen = serializers.CharField(
        max_length=CHOICE_LENGTH_MAX,
        allow_blank=True,
        default="",
        help_text="One of its `choices`, where it has any.",
    )
    text = serializers.CharField(max_length=ANSWER_LENGTH_MAX, allow_blank=True, default="")
    photo = serializers.FileField(required=False)


class AnswerQuestion(StoryAction):
    """Answer a question of the bench: the frame goes on.

    A photo goes as multipart/form-data. Answers `not-found` for a question of another story,
    `bad-input` naming the field, `stale-state` when it is answered or withdrawn already, and `too-
    many-requests` beyond the hourly rate.
    """

    throttle_classes = [VisitorThrottle]
    throttle_scope = "file"
    parser_classes = [BoundedJSON, MultiPartParser]
    body_class = AnswerBody

    def perform(self, data: dict[str, Any]) -> Any:
        request = self.opened()
        rows = request.questions.select_related("frame", "request")
        question = rows.filter(pk=data["question"]).first()
        if question is None:
            raise NotFound()
        upload = data.get("photo")
        rules.answer(
            key=self.action_key,
            question=question,
            said=rules.Answer(data["chosen"], data["text"]),
            picture=photos.redraw(upload, size_bytes=upload.size) if upload else None,
            at=self.at,
        )
        return request
