"""Repair jobs: steps, parts and minutes used, and the bench check."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from returns.models.arrivals import ReturnedFrame
from returns.models.gradings import Grading
from returns.models.remedies import Remedy


class RepairJob(models.Model):
    class State(models.TextChoices):
        OPEN = "open", _("open")
        PASSED = "passed", _("passed the bench check")
        ABANDONED = "abandoned", _("given up")

    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="jobs")
    grading = models.ForeignKey(Grading, models.PROTECT, related_name="jobs")
    state = models.CharField(max_length=10, choices=State.choices, default=State.OPEN)
    opened_at = models.DateTimeField(_("opened"))
    opened_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)

    class Meta:
        verbose_name = _("repair job")
        verbose_name_plural = _("repair jobs")
        constraints = [
            models.UniqueConstraint(
                fields=["frame"], condition=Q(state="open"), name="one_open_job_per_frame"
            )
        ]

    def __str__(self) -> str:
        return f"{self.frame} {self.state}"


class JobStep(models.Model):
    """One remedy of the plan. `worked` stays empty until the bench check has judged it."""

    job = models.ForeignKey(RepairJob, models.CASCADE, related_name="steps")
    remedy = models.ForeignKey(Remedy, models.PROTECT, related_name="+")
    component = models.CharField(_("component"), max_length=20)
    done_at = models.DateTimeField(null=True, blank=True)
    minutes = models.PositiveIntegerField(_("minutes"), null=True, blank=True)
    worked = models.BooleanField(_("worked"), null=True)
    parts_used = models.JSONField(_("part code to pieces"), default=dict)

    class Meta:
        verbose_name = _("job step")
        verbose_name_plural = _("job steps")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.remedy_id} {self.component}"


class BenchCheck(models.Model):
    """The check after repair. All four must hold."""

    job = models.ForeignKey(RepairJob, models.PROTECT, related_name="checks")
    closes_freely = models.BooleanField(_("arms open and close freely"))
    screw_flush = models.BooleanField(_("screws sit flush"))
    lens_held = models.BooleanField(_("lenses are held"))
    no_sharp_edge = models.BooleanField(_("no sharp edge"))
    at = models.DateTimeField(_("at"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        verbose_name = _("bench check")
        verbose_name_plural = _("bench checks")

    def __str__(self) -> str:
        return f"{self.job_id}: {self.passed}"

    @property
    def passed(self) -> bool:
        return self.closes_freely and self.screw_flush and self.lens_held and self.no_sharp_edge
