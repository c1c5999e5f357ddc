"""What leaves the house for a customer."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from returns.models.arrivals import ReturnedFrame
from returns.models.filing import Request


class Dispatch(models.Model):
    class Kind(models.TextChoices):
        KIT = "kit", _("spare kit")
        MENDED = "mended", _("mended frame")
        AS_IS = "as_is", _("frame as it is")
        LENSES = "lenses", _("lenses")

    code = models.CharField(_("code"), max_length=20, unique=True)
    key = models.UUIDField(_("client id"), unique=True)
    kind = models.CharField(_("kind"), max_length=8, choices=Kind.choices)
    request = models.ForeignKey(
        Request, models.PROTECT, null=True, blank=True, related_name="dispatches"
    )
    frame = models.ForeignKey(
        ReturnedFrame, models.PROTECT, null=True, blank=True, related_name="dispatches"
    )
    posted_at = models.DateTimeField(_("posted"), null=True, blank=True)
    # It went from hand to hand at the counter, at `posted_at`, and never was in the post.
    at_counter = models.BooleanField(_("handed over at the counter"), default=False)
    missing_reported_at = models.DateTimeField(_("reported missing"), null=True, blank=True)

    class Meta:
        verbose_name = _("dispatch")
        verbose_name_plural = _("dispatches")
        constraints = [
            models.CheckConstraint(
                condition=Q(request__isnull=False) | Q(frame__isnull=False),
                name="dispatch_is_for_something",
            )
        ]

    def __str__(self) -> str:
        return self.code
