"""Parts promised ahead: still on a donor that waits to be stripped, kept for a frame."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Part
from returns.models.arrivals import ReturnedFrame
from returns.models.catalogue import ComponentKey


class PartPromise(models.Model):
    """One component of a donor, kept for one frame. Nothing has moved yet: the ledger hears of it
    when the donor is stripped, and the piece in the bin is then reserved."""

    class State(models.TextChoices):
        OPEN = "open", _("waits for the strip-down")
        KEPT = "kept", _("kept and reserved")
        WITHDRAWN = "withdrawn", _("withdrawn")
        LAPSED = "lapsed", _("came to nothing")

    key = models.UUIDField(_("client id"), unique=True)
    donor = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="promises_given")
    component = models.CharField(_("component"), max_length=20, choices=ComponentKey.choices)
    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="promises_got")
    part = models.ForeignKey(Part, models.PROTECT, related_name="+")
    state = models.CharField(_("state"), max_length=10, choices=State.choices, default=State.OPEN)
    made_at = models.DateTimeField(_("made"))
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    ended_at = models.DateTimeField(_("ended"), null=True, blank=True)

    class Meta:
        verbose_name = _("promised part")
        verbose_name_plural = _("promised parts")
        ordering = ["made_at", "pk"]
        constraints = [
            models.UniqueConstraint(
                # What was withdrawn or lapsed is free again; what is open or kept is not.
                fields=["donor", "component"],
                condition=Q(state__in=["open", "kept"]),
                name="a_donors_component_is_promised_once",
            ),
            models.UniqueConstraint(
                fields=["frame", "component"],
                condition=Q(state="open"),
                name="one_open_promise_per_lacking_component",
            ),
            models.CheckConstraint(condition=~Q(donor=F("frame")), name="no_frame_gives_to_itself"),
            models.CheckConstraint(
                condition=Q(state="open", ended_at=None)
                | ~Q(state="open") & Q(ended_at__isnull=False),
                name="open_promises_have_not_ended",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.component} of {self.donor} for {self.frame}"
