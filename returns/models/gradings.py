"""Look-over: what was seen on a frame, and the decision with its sums."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from returns.models.arrivals import ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.models.remedies import DefectKey


class Outcome(models.TextChoices):
    REPAIR = "repair", _("repair")
    REGRIND = "regrind", _("regrind")
    HOLD = "hold", _("hold")


class Grading(models.Model):
    """One decision. What was computed and what a person decided are both kept."""

    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="gradings")
    computed = models.CharField(_("computed"), max_length=8, choices=Outcome.choices)
    decided = models.CharField(_("decided"), max_length=8, choices=Outcome.choices)
    overrule_reason = models.CharField(
        _("overruled because"), max_length=200, blank=True, default=""
    )
    # Kept whole: the prices, odds and limits that it rested on will have changed when somebody
    # asks.
    sums = models.JSONField(_("reasons, plans and figures"))
    at = models.DateTimeField(_("at"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        verbose_name = _("grading")
        verbose_name_plural = _("gradings")
        ordering = ["-at", "-pk"]
        constraints = [
            models.CheckConstraint(
                # Deciding otherwise than the sums is a person's right, and has a reason on the
                # record.
                condition=Q(computed=models.F("decided")) | ~Q(overrule_reason=""),
                name="overruling_names_its_reason",
            )
        ]

    def __str__(self) -> str:
        return f"{self.frame} {self.decided}"


class Finding(models.Model):
    """A defect seen on a component, as of one grading."""

    grading = models.ForeignKey(Grading, models.PROTECT, related_name="findings")
    component = models.CharField(_("component"), max_length=20, choices=ComponentKey.choices)
    defect = models.CharField(_("defect"), max_length=20, choices=DefectKey.choices)
    measured_um = models.PositiveIntegerField(_("measured, µm"), null=True, blank=True)

    class Meta:
        verbose_name = _("finding")
        verbose_name_plural = _("findings")
        constraints = [
            models.UniqueConstraint(
                fields=["grading", "component", "defect"], name="finding_once_per_grading"
            )
        ]

    def __str__(self) -> str:
        return f"{self.component} {self.defect}"
