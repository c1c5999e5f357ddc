"""Closed months with their digest chain, report files, and the journals that went to the books."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.models.appendonly import WriteOnce
from inventory.models.changes import Kept
from inventory.models.places import Place


class Month(WriteOnce):
    """A closed month. An open one has no row."""

    label = models.CharField(_("month"), max_length=7, unique=True)
    closed_at = models.DateTimeField(_("closed"))
    closed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    previous_digest = models.CharField(max_length=64, blank=True, default="")
    digest = models.CharField(_("digest"), max_length=64)
    last_number = models.PositiveBigIntegerField(_("last movement"))
    # Whatever a report needs and somebody may edit later: the closed report must not move when a
    # price, a name or the currency does. Its digest is part of the chain.
    figures = models.JSONField(_("prices and other figures frozen at close"), default=dict)

    class Meta:
        verbose_name = _("closed month")
        verbose_name_plural = _("closed months")
        ordering = ["label"]

    def __str__(self) -> str:
        return self.label


class MonthBalance(WriteOnce):
    """What a place held when its month was closed."""

    month = models.ForeignKey(Month, models.PROTECT, related_name="balances")
    place = models.ForeignKey(Place, models.PROTECT, related_name="+")
    # Signed: places on the boundary are in the snapshot as well, and may stand below zero.
    quantity = models.BigIntegerField()

    class Meta:
        verbose_name = _("month balance")
        verbose_name_plural = _("month balances")
        constraints = [
            models.UniqueConstraint(fields=["month", "place"], name="month_balance_once")
        ]

    def __str__(self) -> str:
        return f"{self.month_id} {self.place_id}: {self.quantity}"


class ReportFile(models.Model):
    """A report that the worker makes or has made; `percent` is what the page shows meanwhile."""

    class State(models.TextChoices):
        WAITING = "waiting", _("waiting")
        WORKING = "working", _("working")
        READY = "ready", _("ready")
        FAILED = "failed", _("failed")

    key = models.UUIDField(_("client id"), unique=True)
    month = models.CharField(_("month"), max_length=7, db_index=True)
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    percent = models.PositiveSmallIntegerField(default=0)
    digest = models.CharField(_("digest of the figures"), max_length=64, blank=True, default="")
    file_name = models.CharField(max_length=120, blank=True, default="")
    asked_at = models.DateTimeField()
    asked_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        verbose_name = _("report file")
        verbose_name_plural = _("report files")

    def __str__(self) -> str:
        return f"{self.month} {self.state}"


class AccountNumber(Kept):
    """The number, in the accountant's chart, of one of the accounts that the journal names."""

    key = models.CharField(max_length=24, unique=True)
    number = models.CharField(_("account number"), max_length=20)
    # Left to her: how any of this is taxed is no business of the workshop's ledger.
    tax_code = models.CharField(_("tax code"), max_length=10, blank=True, default="")

    class Meta:
        verbose_name = _("account number")
        verbose_name_plural = _("account numbers")
        ordering = ["key"]

    def __str__(self) -> str:
        return f"{self.key}: {self.number}"


class JournalExport(WriteOnce):
    """The journal of one closed month as it was handed over, under a number without gaps.

    The lines are derived from the closed month; `digest` and the sums prove that they still are
    those that were handed over. `accounts` are the numbers and tax codes as they were then.
    """

    number = models.PositiveIntegerField(_("number"), unique=True)
    # One a month, so that no line goes out twice; they go in order, so that none is left out.
    month = models.CharField(_("month"), max_length=7, unique=True)
    made_at = models.DateTimeField(_("made"))
    made_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    accounts = models.JSONField(default=dict)
    lines = models.PositiveIntegerField()
    debit_minor = models.BigIntegerField()
    credit_minor = models.BigIntegerField()
    digest = models.CharField(_("digest"), max_length=64)

    class Meta:
        verbose_name = _("journal export")
        verbose_name_plural = _("journal exports")
        ordering = ["number"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(debit_minor=models.F("credit_minor")),
                name="journal_export_balances",
            )
        ]

    def __str__(self) -> str:
        return f"{self.number}: {self.month}"
