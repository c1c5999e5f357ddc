"""What the bench asks a customer about a frame, and what the customer answers."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from returns.models.arrivals import ReturnedFrame
from returns.models.filing import Request


class Question(models.Model):
    """One question about one frame. While it is open, the frame waits."""

    class State(models.TextChoices):
        OPEN = "open", _("waits for an answer")
        ANSWERED = "answered", _("answered")
        WITHDRAWN = "withdrawn", _("withdrawn")

    key = models.UUIDField(_("client id"), unique=True)
    request = models.ForeignKey(Request, models.PROTECT, related_name="questions")
    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="questions")
    # Emptied, like every answer, when the customer's data are erased; the row stays.
    text = models.CharField(_("question"), max_length=500, blank=True)
    choices: models.JSONField[list[str], Any] = models.JSONField(
        _("answers to choose from"), default=list, blank=True
    )
    state = models.CharField(
        _("state"), max_length=10, choices=State.choices, default=State.OPEN, db_index=True
    )
    asked_at = models.DateTimeField(_("asked"))
    # By the workshop's clock. From this day to the one of the answer the promised days pause.
    asked_on = models.DateField(_("asked on"))
    asked_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    reminded_at = models.DateTimeField(_("reminded"), null=True, blank=True)
    closed_at = models.DateTimeField(_("answered or withdrawn"), null=True, blank=True)
    chosen = models.CharField(_("chosen answer"), max_length=80, blank=True, default="")
    answer = models.CharField(_("answer"), max_length=1000, blank=True, default="")
    # Set where a person at the bench wrote down what the customer told, or withdrew the question.
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        verbose_name = _("question to a customer")
        verbose_name_plural = _("questions to customers")
        ordering = ["asked_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["frame"], condition=Q(state="open"), name="one_open_question_per_frame"
            ),
            models.CheckConstraint(
                condition=Q(state="open", closed_at=None)
                | ~Q(state="open") & Q(closed_at__isnull=False),
                name="open_questions_are_not_closed",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.frame}: {self.get_state_display()}"

    @property
    def is_open(self) -> bool:
        """Whether it waits for its answer."""
        return self.state == Question.State.OPEN

    @property
    def is_answered(self) -> bool:
        """Whether the customer has answered."""
        return self.state == Question.State.ANSWERED


class QuestionPhoto(models.Model):
    """A re-encoded picture of a question, or of its answer."""

    class Side(models.TextChoices):
        ASKED = "asked", _("with the question")
        ANSWERED = "answered", _("with the answer")

    question = models.ForeignKey(Question, models.CASCADE, related_name="photos")
    side = models.CharField(max_length=10, choices=Side.choices)
    file_name = models.CharField(max_length=60, unique=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    added_at = models.DateTimeField()

    class Meta:
        verbose_name = _("photo of a question")
        verbose_name_plural = _("photos of questions")
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.file_name
