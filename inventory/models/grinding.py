"""Grind runs: a box goes in, a flake lot and losses come out."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inventory.models.materials import Lot
from inventory.models.places import Place


class GrindRun(models.Model):
    class State(models.TextChoices):
        PROPOSED = "proposed", _("proposed, waits for the second person")
        CONFIRMED = "confirmed", _("confirmed at the box")
        HELD = "held", _("held until explained")
        FINISHED = "finished", _("finished")
        CANCELLED = "cancelled", _("cancelled")

    code = models.CharField(_("code"), max_length=20, unique=True)
    box = models.ForeignKey(Place, models.PROTECT, related_name="runs")
    state = models.CharField(max_length=10, choices=State.choices, default=State.PROPOSED)
    # Both together say what the second person must still find: the same mass may come about by a
    # withdrawal and an entry, and only the movement's number tells that apart.
    box_mg = models.PositiveBigIntegerField(_("mass in the box when proposed, mg"))
    box_movement = models.PositiveBigIntegerField(_("last movement of the box when proposed"))
    proposed_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    proposed_at = models.DateTimeField()
    confirmed_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )
    confirmed_at = models.DateTimeField(null=True, blank=True)
    readings = models.JSONField(
        _("reading ids by what came out: flake, dust, purge, moisture"), default=dict
    )
    minutes = models.PositiveIntegerField(_("minutes"), default=0)
    colour_change = models.BooleanField(_("colour change before this run"), default=False)
    held_for = models.CharField(_("held because"), max_length=200, blank=True, default="")
    explanation = models.CharField(_("explanation"), max_length=200, blank=True, default="")
    finished_at = models.DateTimeField(null=True, blank=True)
    lot = models.OneToOneField(Lot, models.PROTECT, null=True, blank=True, related_name="run")

    class Meta:
        verbose_name = _("grind run")
        verbose_name_plural = _("grind runs")
        ordering = ["-proposed_at"]
        constraints = [
            models.CheckConstraint(
                # Spelt out for the unconfirmed run: a comparison with NULL is neither true nor
                # false.
                condition=Q(confirmed_by__isnull=True) | ~Q(confirmed_by=F("proposed_by")),
                name="two_people_confirm_a_grind",
            ),
            models.UniqueConstraint(
                fields=["box"],
                condition=Q(state__in=["proposed", "confirmed", "held"]),
                name="one_open_run_per_box",
            ),
        ]

    def __str__(self) -> str:
        return self.code
