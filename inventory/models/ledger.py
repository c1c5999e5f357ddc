"""The ledger's header and lines. Only the ledger's rules write them; triggers keep them."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inventory.ledger.sums.recipes import KINDS
from inventory.models.appendonly import WriteOnce
from inventory.models.places import Place
from inventory.models.weighing import Reading


class Movement(WriteOnce):
    """A numbered group of postings that succeeded together."""

    number = models.PositiveBigIntegerField(_("number"), unique=True)
    # Where it stands in the chain of movements and events, and the digest of all that it says.
    link = models.PositiveBigIntegerField(_("link of the chain"), unique=True)
    digest = models.CharField(_("digest"), max_length=64)
    key = models.UUIDField(_("client id"), unique=True)
    fingerprint = models.CharField(max_length=64)
    kind = models.CharField(_("kind"), max_length=24, choices=[(k, k) for k in KINDS])
    subject = models.CharField(_("subject"), max_length=40, blank=True, default="", db_index=True)
    actor = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    happened_at = models.DateTimeField(_("happened"))
    recorded_at = models.DateTimeField(_("recorded"))
    # A label such as 2026-03 and no foreign key: an open month has no row, and text of this form
    # sorts in the order of time.
    month = models.CharField(_("month"), max_length=7)
    # Filled only when the movement came after its own month was closed; see `_month_for`.
    belongs_to = models.CharField(_("belongs to month"), max_length=7, blank=True, default="")
    # One to one: the database itself refuses that a movement is reversed twice.
    reverses = models.OneToOneField(
        "self", models.PROTECT, null=True, blank=True, related_name="reversed_by"
    )
    reason = models.CharField(_("reason"), max_length=200, blank=True, default="")
    # Signed, because a reversal takes back what its movement brought in.
    cost_minor = models.BigIntegerField(_("cost brought in, cents"), default=0)
    heat = models.JSONField(_("heat passes of what entered a box"), null=True, blank=True)

    class Meta:
        verbose_name = _("movement")
        verbose_name_plural = _("movements")
        ordering = ["number"]
        indexes = [models.Index(fields=["month", "number"]), models.Index(fields=["kind", "month"])]
        constraints = [
            models.CheckConstraint(
                condition=Q(reverses__isnull=True) | ~Q(reason=""), name="reversal_names_its_reason"
            ),
        ]

    def __str__(self) -> str:
        return f"#{self.number} {self.kind}"


class Posting(WriteOnce):
    """From one place, to one other place, a positive whole number of milligrams or pieces."""

    movement = models.ForeignKey(Movement, models.PROTECT, related_name="postings")
    line = models.PositiveSmallIntegerField(_("line"))
    source = models.ForeignKey(Place, models.PROTECT, related_name="postings_out")
    target = models.ForeignKey(Place, models.PROTECT, related_name="postings_in")
    quantity = models.PositiveBigIntegerField(_("quantity"))
    reading = models.ForeignKey(
        Reading, models.PROTECT, null=True, blank=True, related_name="postings"
    )
    # Where the lines of a movement differ: the heaps of a frame of two materials.
    heat = models.JSONField(_("heat passes of this line alone"), null=True, blank=True)

    class Meta:
        verbose_name = _("posting")
        verbose_name_plural = _("postings")
        ordering = ["movement__number", "line"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gte=1), name="posting_is_positive"),
            models.CheckConstraint(condition=~Q(source=F("target")), name="posting_moves"),
            models.UniqueConstraint(fields=["movement", "line"], name="posting_line_once"),
        ]

    def __str__(self) -> str:
        return f"{self.quantity}: {self.source_id} to {self.target_id}"


class Balance(models.Model):
    """A derived cache of what a place holds, written in the posting's own transaction."""

    place = models.OneToOneField(Place, models.PROTECT, primary_key=True, related_name="balance")
    # Signed for the places on the boundary; the constraint below keeps all others at or above 0.
    quantity = models.BigIntegerField(default=0)
    # A copy of the place's kind: a check constraint sees only the columns of its own row.
    boundary = models.BooleanField()

    class Meta:
        verbose_name = _("balance")
        verbose_name_plural = _("balances")
        constraints = [
            models.CheckConstraint(
                condition=Q(boundary=True) | Q(quantity__gte=0), name="no_negative_place"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.place_id}: {self.quantity}"


class Counter(models.Model):
    """Gapless numbers: one row per series, moved in the transaction that uses the number."""

    # No sequence of the database: those keep a number that a rolled-back transaction drew.
    name = models.CharField(max_length=30, primary_key=True)
    last = models.PositiveBigIntegerField(default=0)
    # Of the last link, where the series is the chain.
    digest = models.CharField(max_length=64, blank=True, default="")

    class Meta:
        verbose_name = _("counter")
        verbose_name_plural = _("counters")

    def __str__(self) -> str:
        return f"{self.name}: {self.last}"
