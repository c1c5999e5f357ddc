"""Who a customer is: apart from everything else, so that it can be erased alone."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Person(models.Model):
    name = models.CharField(_("name"), max_length=100, blank=True, default="")
    email = models.EmailField(_("email"), blank=True, default="")
    street = models.CharField(_("street and number"), max_length=120, blank=True, default="")
    extra = models.CharField(_("address extra"), max_length=120, blank=True, default="")
    postal_code = models.CharField(_("postal code"), max_length=12, blank=True, default="")
    city = models.CharField(_("town or city"), max_length=80, blank=True, default="")
    region = models.CharField(_("region"), max_length=80, blank=True, default="")
    country = models.CharField(_("country"), max_length=2, blank=True, default="")
    language = models.CharField(_("language"), max_length=8, default="en")
    # Told once that the email was changed, and forgotten then.
    former_email = models.EmailField(_("email before"), blank=True, default="")
    erased_at = models.DateTimeField(_("erased"), null=True, blank=True)

    class Meta:
        verbose_name = _("person")
        verbose_name_plural = _("people")

    def __str__(self) -> str:
        return self.name or str(_("erased"))

    def address_lines(self) -> list[str]:
        """Return the address as it goes on a label, without the country's name."""
        town = f"{self.postal_code} {self.city}".strip()
        return [line for line in (self.name, self.street, self.extra, town, self.region) if line]
