"""Emission factors that the owner enters, a row for each year; they go before the UK set."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Kept


class EmissionFactors(Kept):
    """Both factors of one year from one source. A year keeps its own when a later one is added."""

    year = models.PositiveSmallIntegerField(
        _("the year they are for"),
        unique=True,
        validators=[MinValueValidator(1990), MaxValueValidator(2999)],
    )
    # Whole grams, so that no float is stored.
    virgin_g_per_t = models.PositiveBigIntegerField(
        _("virgin material, moulded: g of CO2 equivalent per tonne")
    )
    process_g_per_t = models.PositiveBigIntegerField(
        _("reprocessing and moulding: g of CO2 equivalent per tonne")
    )
    source = models.CharField(_("title, publisher and year of the source"), max_length=200)

    class Meta:
        verbose_name = _("emission factors of a year")
        verbose_name_plural = _("emission factors")
        ordering = ["-year"]
        constraints = [
            models.CheckConstraint(condition=~Q(source=""), name="emission_factors_name_a_source")
        ]

    def __str__(self) -> str:
        return f"{self.year}: {self.source}"
