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
                # Two hands who begin at once: the database refuses the second, whatever was read
                # before.
                fields=["frame"],
                condition=Q(state="open"),
                name="one_open_job_per_frame",
            )
        ]

    def __str__(self) -> str:
        return f"{self.frame} {self.state}"


class JobStep(models.Model):
    """One remedy of the plan. `worked` stays empty until the bench check has judged it.

    `shared_check` is the failed check whose blame it shares with other steps, because nobody could
    tell which of them did not hold. A step noted by mistake stays, withdrawn, with its reason.
    """

    job = models.ForeignKey(RepairJob, models.CASCADE, related_name="steps")
    remedy = models.ForeignKey(Remedy, models.PROTECT, related_name="+")
    component = models.CharField(_("component"), max_length=20)
    done_at = models.DateTimeField(null=True, blank=True)
    minutes = models.PositiveIntegerField(_("minutes"), null=True, blank=True)
    worked = models.BooleanField(_("worked"), null=True)
    shared_check = models.ForeignKey(
        "BenchCheck", models.PROTECT, null=True, blank=True, related_name="sharing"
    )
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    withdrawn_because = models.CharField(
        _("withdrawn because"), max_length=200, blank=True, default=""
    )
    parts_used = models.JSONField(_("part code to pieces"), default=dict)

    class Meta:
        verbose_name = _("job step")
        verbose_name_plural = _("job steps")
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(withdrawn_at=None) | ~Q(withdrawn_because=""),
                name="withdrawn_step_names_its_reason",
            )
        ]

    def __str__(self) -> str:
        return f"{self.remedy_id} {self.component}"


class BenchCheck(models.Model):
    """The check after repair. All four must hold.

    `blamed` is the step that did not hold; a failed check without one is shared by its steps. A
    check noted by mistake stays, withdrawn, with its reason.
    """

    job = models.ForeignKey(RepairJob, models.PROTECT, related_name="checks")
    closes_freely = models.BooleanField(_("arms open and close freely"))
    screw_flush = models.BooleanField(_("screws sit flush"))
    lens_held = models.BooleanField(_("lenses are held"))
    no_sharp_edge = models.BooleanField(_("no sharp edge"))
    blamed = models.ForeignKey(
        JobStep, models.PROTECT, null=True, blank=True, related_name="blamed_by"
    )
    withdrawn_at = models.DateTimeField(_("withdrawn"), null=True, blank=True)
    withdrawn_because = models.CharField(
        _("withdrawn because"), max_length=200, blank=True, default=""
    )
    at = models.DateTimeField(_("at"))
    by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        verbose_name = _("bench check")
        verbose_name_plural = _("bench checks")
        constraints = [
            models.CheckConstraint(
                condition=Q(withdrawn_at=None) | ~Q(withdrawn_because=""),
                name="withdrawn_check_names_its_reason",
            )
        ]

    def __str__(self) -> str:
        return f"{self.job_id}: {self.passed}"

    @property
    def passed(self) -> bool:
        return self.closes_freely and self.screw_flush and self.lens_held and self.no_sharp_edge
