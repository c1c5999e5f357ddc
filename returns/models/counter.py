"""Who stood at the counter with a frame, and how they agreed to what happens with it."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.utils.translation import gettext_lazy as _

from returns.models.filing import Request


class WalkIn(models.Model):
    class Consent(models.TextChoices):
        """How the wish was given."""

        SCREEN = "screen", _("pressed by the customer on our screen")
        PAPER = "paper", _("signed by the customer on paper")

    request = models.OneToOneField(Request, models.PROTECT, related_name="walk_in")
    consent = models.CharField(_("consent"), max_length=10, choices=Consent.choices)
    # Who turned the screen, or saw the signature: PROTECT, since the consent rests on them.
    seen_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, related_name="+", verbose_name=_("seen by")
    )
    at = models.DateTimeField(_("when"))

    class Meta:
        verbose_name = _("walk-in")
        verbose_name_plural = _("walk-ins")
        ordering = ["-at"]

    def __str__(self) -> str:
        return str(self.request)
