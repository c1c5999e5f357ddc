"""Who gave a load of goods, and the evidence of where it came from."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.models import Load


class Giver(models.Model):
    """The giver of one load, named or not, and the private link that tells what became of it.

    The only personal data of a load; it is blanked when its time is up, and no figure changes.
    """

    load = models.OneToOneField(Load, models.PROTECT, related_name="giver")
    link_salt = models.CharField(max_length=64)
    link_hash = models.CharField(max_length=64, unique=True)
    name = models.CharField(_("name"), max_length=80, blank=True, default="")
    contact = models.CharField(_("how to reach them"), max_length=120, blank=True, default="")

    class Meta:
        verbose_name = _("giver of goods")
        verbose_name_plural = _("givers of goods")

    def __str__(self) -> str:
        return str(self.load)


class Evidence(models.Model):
    """A picture that shows where a load came from, drawn anew without metadata, or a PDF as it
    came. Kept private."""

    class Kind(models.TextChoices):
        DECLARATION = "declaration", _("declaration of the giver")
        PHOTO = "photo", _("photo of the goods")
        RECEIPT = "receipt", _("receipt or delivery note")

    load = models.ForeignKey(Load, models.PROTECT, related_name="evidence")
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices)
    file_name = models.CharField(max_length=60, unique=True)
    note = models.CharField(_("what it shows"), max_length=120, blank=True, default="")
    added_at = models.DateTimeField(_("added"))

    class Meta:
        verbose_name = _("evidence of origin")
        verbose_name_plural = _("evidence of origin")
        ordering = ["pk"]

    def __str__(self) -> str:
        return self.file_name

    @property
    def is_pdf(self) -> bool:
        return self.file_name.endswith(".pdf")
