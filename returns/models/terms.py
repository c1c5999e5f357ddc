"""What the workshop promises its customers about money, post and waiting."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Kept


class PaidBy(models.TextChoices):
    """Whose money a stamp costs."""

    CUSTOMER = "customer", _("the customer")
    WORKSHOP = "workshop", _("we")


class Terms(Kept):
    """Exactly one row, number 1. A price or payer that nobody has entered is told to nobody."""

    mending_minor = models.PositiveIntegerField(
        _("a mended frame costs the customer, cents"), null=True, blank=True
    )
    kit_minor = models.PositiveIntegerField(
        _("a kit of spare screws costs the customer, cents"), null=True, blank=True
    )
    postage_in_paid_by = models.CharField(
        _("postage to us is paid by"), max_length=10, choices=PaidBy.choices, blank=True, default=""
    )
    postage_back_paid_by = models.CharField(
        _("postage back is paid by"), max_length=10, choices=PaidBy.choices, blank=True, default=""
    )
    cost_note = models.CharField(
        _("about paying, in your words"), max_length=300, blank=True, default=""
    )
    name_place = models.CharField(
        _("where the model's name stands on a frame"), max_length=120, blank=True, default=""
    )
    letter_wait_minutes = models.PositiveIntegerField(
        _("minutes that a letter about a decision waits"), default=10
    )
    remind_days = models.PositiveIntegerField(
        _("days until a customer is reminded of a frame that has not come"), default=14
    )
    rest_days = models.PositiveIntegerField(
        _("days until a request rests whose frame has not come"), default=60
    )
    question_remind_days = models.PositiveIntegerField(
        _("days until a customer is reminded of a question"), default=5
    )
    question_owner_days = models.PositiveIntegerField(
        _("days until an unanswered question is shown to the owner"), default=14
    )

    class Meta:
        verbose_name = _("terms for customers")
        verbose_name_plural = _("terms for customers")
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="terms_are_one_row"),
            models.CheckConstraint(
                condition=Q(rest_days__gt=F("remind_days")),
                name="terms_remind_before_rest",
                violation_error_message=_("Remind first: a request rests some days later."),
            ),
        ]

    def __str__(self) -> str:
        return str(_("terms for customers"))

    @classmethod
    def the(cls) -> Terms:
        """The one row; made with defaults on an empty database."""
        return cls.objects.get_or_create(pk=1)[0]

    @property
    def is_priced(self) -> bool:
        """Whether everything that a customer asks about money has been entered."""
        known = self.mending_minor is not None and self.kit_minor is not None
        return known and bool(self.postage_in_paid_by and self.postage_back_paid_by)
