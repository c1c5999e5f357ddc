"""Scales and what was read on them."""

from __future__ import annotations

from datetime import date

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models.appendonly import WriteOnce
from inventory.models.changes import Kept


class ScaleClass(models.TextChoices):
    """Accuracy classes of non-automatic weighing instruments (OIML R 76)."""

    SPECIAL = "I", "I"
    HIGH = "II", "II"
    MEDIUM = "III", "III"
    ORDINARY = "IIII", "IIII"


class Scale(Kept):
    name = models.CharField(_("name"), max_length=60, unique=True)
    accuracy = models.CharField(_("accuracy class"), max_length=4, choices=ScaleClass.choices)
    division_mg = models.PositiveIntegerField(_("scale division d, mg"))
    verification_mg = models.PositiveIntegerField(_("verification interval e, mg"))
    capacity_mg = models.PositiveBigIntegerField(_("capacity Max, mg"))
    minimum_mg = models.PositiveIntegerField(_("minimum load Min, mg"))
    check_due = models.DateField(_("next check due"), null=True, blank=True)
    calibration_u_ug = models.PositiveIntegerField(
        _("standard uncertainty from the last calibration, µg"), null=True, blank=True
    )
    checked_on = models.DateField(_("last checked on"), null=True, blank=True)
    # Rows of load in mg, error in µg and standard uncertainty in µg, by load.
    certificate = models.JSONField(_("certificate, load by load"), default=list, blank=True)
    repeatability_ug = models.PositiveIntegerField(
        _("standard deviation of repeated weighings, µg"), null=True, blank=True
    )
    repeats = models.PositiveSmallIntegerField(
        _("number of those weighings"), null=True, blank=True
    )
    eccentricity_ug = models.PositiveIntegerField(
        _("largest change between places on the pan, µg"), null=True, blank=True
    )
    eccentricity_load_mg = models.PositiveBigIntegerField(
        _("load of that test, mg"), null=True, blank=True
    )
    drift_ppm = models.PositiveIntegerField(
        _("change from one check to the next, millionths of the load"), null=True, blank=True
    )
    in_use = models.BooleanField(_("in use"), default=True)

    class Meta:
        verbose_name = _("scale")
        verbose_name_plural = _("scales")
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(division_mg__gte=1, verification_mg__gte=1),
                name="scale_divisions_are_positive",
            ),
            models.CheckConstraint(
                condition=Q(capacity_mg__gt=models.F("minimum_mg")), name="scale_max_over_min"
            ),
            models.CheckConstraint(
                condition=Q(repeatability_ug=None, repeats=None)
                | Q(repeatability_ug__isnull=False, repeats__gte=4),
                name="scale_repeats_and_their_number",
            ),
            models.CheckConstraint(
                condition=Q(eccentricity_ug=None, eccentricity_load_mg=None)
                | Q(eccentricity_ug__isnull=False, eccentricity_load_mg__gte=1),
                name="scale_eccentricity_and_its_load",
            ),
        ]

    def __str__(self) -> str:
        return self.name


class Reading(WriteOnce):
    """One reading as typed, with its standard uncertainty split into own and shared parts.

    What is shared is shared with the readings of the same scale under the same check date only: a
    new check begins a new calibration period. `u_shared_ug` is shared with all of them,
    `u_local_ug` with those of the same `load_band`, `u_drift_ug` with all in proportion; `error_ug`
    is the certificate's error at this load, which the mass is not corrected by. `edition` says by
    which model of a scale they were worked out, `model` from what; neither ever changes.
    """

    scale = models.ForeignKey(Scale, models.PROTECT, related_name="readings")
    # Kept beside the parsed mass, so that an auditor sees what the hand typed and how it was read.
    typed = models.CharField(_("as typed"), max_length=40)
    mass_mg = models.PositiveBigIntegerField(_("mass, mg"))
    # In micrograms: the step of a 1 mg scale has u = 0.29 mg (d/√12), which in whole milligrams
    # would be stored as none at all.
    u_own_ug = models.PositiveBigIntegerField(_("own standard uncertainty, µg"))
    u_shared_ug = models.PositiveBigIntegerField(_("uncertainty shared with this scale, µg"))
    u_local_ug = models.PositiveBigIntegerField(_("shared with like loads, µg"), default=0)
    u_drift_ug = models.PositiveBigIntegerField(_("drift since the check, µg"), default=0)
    error_ug = models.BigIntegerField(_("error that the certificate names, µg"), default=0)
    load_band = models.PositiveSmallIntegerField(_("band of like loads"), default=0)
    edition = models.PositiveSmallIntegerField(_("edition of the model of a scale"), default=1)
    model = models.JSONField(_("what the model was told of the scale"), default=dict)
    # Frozen with the reading: the scale's row changes at its next check, the doubt of then does
    # not.
    flags = models.JSONField(_("what was out of order with the scale"), default=list)
    check_due = models.DateField(_("the scale's check date at that time"), null=True, blank=True)
    at = models.DateTimeField(_("read at"))

    class Meta:
        verbose_name = _("reading")
        verbose_name_plural = _("readings")

    def __str__(self) -> str:
        return f"{self.mass_mg} mg on {self.scale_id}"

    @property
    def period(self) -> str:
        """Return the name of the scale's calibration period; see `period` below."""
        return period(self.scale_id, self.check_due)


def period(scale_id: int, check_due: date | None) -> str:
    """Return the name of a scale within one calibration period: its readings share an error."""
    # By id and not by name: a scale that is renamed within its period keeps its shared error.
    return f"{scale_id}@{check_due.isoformat() if check_due else ''}"
