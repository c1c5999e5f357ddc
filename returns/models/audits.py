"""Audits of weigh-ins: which frames were drawn from which lot, and what they weighed again."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Reading
from returns.models.arrivals import ReturnedFrame


class WeighAudit(models.Model):
    """A sample of a month's weigh-ins. `lot_tags` and `seed` let anybody draw it again."""

    class State(models.TextChoices):
        OPEN = "open", _("waits to be weighed")
        PASSED = "passed", _("accepted")
        FAILED = "failed", _("not accepted")

    key = models.UUIDField(_("client id"), unique=True)
    month = models.CharField(_("month"), max_length=7)
    quality_limit = models.CharField(_("quality limit, per cent"), max_length=4)
    lot_tags = models.JSONField(_("tags of the lot, in order"))
    seed = models.CharField(_("seed of the draw"), max_length=32)
    accept = models.PositiveIntegerField(_("most wrong ones to accept"))
    state = models.CharField(_("state"), max_length=10, choices=State.choices, default=State.OPEN)
    drawn_at = models.DateTimeField(_("drawn"))
    drawn_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    judged_at = models.DateTimeField(_("weighed again"), null=True, blank=True)
    judged_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        verbose_name = _("weigh-in audit")
        verbose_name_plural = _("weigh-in audits")
        ordering = ["-drawn_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                # A partial index, which both databases have: judged audits of a month may be many,
                # open ones not.
                fields=["month"],
                condition=Q(state="open"),
                name="one_open_audit_a_month",
            ),
            models.CheckConstraint(
                condition=Q(state="open", judged_at=None)
                | ~Q(state="open") & Q(judged_at__isnull=False),
                name="open_audits_are_not_judged",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month} ({self.pk})"


class AuditedFrame(models.Model):
    """One frame of the sample: its mass then, its mass now, and the difference that may be."""

    class Verdict(models.TextChoices):
        WAITING = "", _("not weighed yet")
        AGREES = "agrees", _("agrees")
        DIFFERS = "differs", _("differs")
        MISSING = "missing", _("not found")

    audit = models.ForeignKey(WeighAudit, models.PROTECT, related_name="frames")
    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="audits")
    reading = models.OneToOneField(Reading, models.PROTECT, null=True, blank=True, related_name="+")
    limit_ug = models.PositiveBigIntegerField(_("largest difference, µg"), null=True, blank=True)
    verdict = models.CharField(
        _("verdict"), max_length=10, choices=Verdict.choices, blank=True, default=""
    )

    class Meta:
        verbose_name = _("frame of an audit")
        verbose_name_plural = _("frames of audits")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(fields=["audit", "frame"], name="audited_once_an_audit"),
            models.CheckConstraint(
                condition=Q(verdict__in=["agrees", "differs"], reading__isnull=False)
                | Q(verdict__in=["", "missing"], reading=None),
                name="a_weighed_verdict_has_its_reading",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.frame_id} in {self.audit_id}"

    @property
    def difference_mg(self) -> int | None:
        """Mass now less mass then; None until it is weighed."""
        if self.reading is None:
            return None
        return int(self.reading.mass_mg - self.frame.reading.mass_mg)
