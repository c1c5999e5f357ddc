"""Shops that take frames in for us, and the slips that they hand to wearers."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Kept
from returns.models.filing import Request


class Partner(Kept):
    """A shop. It has no login: its page lies behind a private link."""

    hidden = ("link_salt", "link_hash")

    name = models.CharField(_("name"), max_length=100, unique=True)
    town = models.CharField(_("town or city"), max_length=80, blank=True, default="")
    # As with a request's link: only the salt and a hash are kept.
    link_salt = models.CharField(max_length=64)
    link_hash = models.CharField(max_length=64, unique=True)
    added_at = models.DateTimeField(_("added"))
    closed_at = models.DateTimeField(_("closed"), null=True, blank=True)

    class Meta:
        verbose_name = _("drop-off partner")
        verbose_name_plural = _("drop-off partners")
        ordering = ["name"]

    def __str__(self) -> str:
        return f"{self.name}, {self.town}" if self.town else self.name


class PartnerSlip(models.Model):
    """A slip for one wearer. Its code becomes the reference of what is filed with it."""

    partner = models.ForeignKey(Partner, models.PROTECT, related_name="slips")
    sheet = models.PositiveSmallIntegerField(_("sheet"))
    code = models.CharField(_("code"), max_length=20, unique=True)
    link_salt = models.CharField(max_length=64)
    link_hash = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField(_("made"))
    request = models.OneToOneField(
        Request, models.PROTECT, null=True, blank=True, related_name="partner_slip"
    )
    # The box in which its frame came.
    parcel = models.ForeignKey(
        "returns.Parcel", models.PROTECT, null=True, blank=True, related_name="partner_slips"
    )
    arrived_at = models.DateTimeField(_("arrived"), null=True, blank=True)

    class Meta:
        verbose_name = _("partner's slip")
        verbose_name_plural = _("partners' slips")
        ordering = ["sheet", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(parcel=None, arrived_at=None)
                | Q(parcel__isnull=False, arrived_at__isnull=False),
                name="a_slip_arrives_in_a_box",
            )
        ]

    def __str__(self) -> str:
        return self.code
