"""What is weighed: polymers, colours, lots, and what a class of them sells for."""

from __future__ import annotations

from django.db import models
from django.utils.translation import gettext_lazy as _


class Origin(models.TextChoices):
    """Where material came from. Never mixed in a figure."""

    RETURN = "post_consumer_return", _("post-consumer return")
    FEEDSTOCK = "post_consumer_feedstock", _("post-consumer feedstock")
    IN_PROCESS = "in_process", _("in-process scrap")
    VIRGIN = "virgin", _("bought-in virgin")


class Polymer(models.Model):
    code = models.CharField(_("code (ISO 1043-1)"), max_length=12, unique=True)
    name = models.CharField(_("name"), max_length=60)

    class Meta:
        verbose_name = _("polymer")
        verbose_name_plural = _("polymers")
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


class Colour(models.Model):
    code = models.SlugField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name in words"), max_length=40)
    swatch = models.CharField(_("swatch (#rrggbb)"), max_length=7, default="#777777")

    class Meta:
        verbose_name = _("colour")
        verbose_name_plural = _("colours")
        ordering = ["code"]

    def __str__(self) -> str:
        return self.name


class Lot(models.Model):
    """A flake lot: one polymer, one colour, one origin, a spread of heat passes."""

    code = models.CharField(_("code"), max_length=20, unique=True)
    polymer = models.ForeignKey(Polymer, models.PROTECT, related_name="lots")
    colour = models.ForeignKey(Colour, models.PROTECT, related_name="lots")
    origin = models.CharField(_("origin"), max_length=30, choices=Origin.choices)
    # Frozen when the lot is made: a lot is mixed once, and taking from it does not change its
    # spread.
    heat = models.JSONField(_("heat passes: list of [passes, parts per million]"))
    supplier_note = models.CharField(_("supplier"), max_length=120, blank=True, default="")
    melt_flow_mg_per_10min = models.PositiveIntegerField(_("melt flow"), null=True, blank=True)
    melt_flow_tolerance_mg = models.PositiveIntegerField(_("its tolerance"), null=True, blank=True)
    made_at = models.DateTimeField(_("made"))

    class Meta:
        verbose_name = _("lot")
        verbose_name_plural = _("lots")
        ordering = ["made_at", "code"]

    def __str__(self) -> str:
        return self.code


class ClassPrice(models.Model):
    """The price that a kilogram of a class would fetch, and the costs to finish and to sell it."""

    polymer = models.ForeignKey(Polymer, models.PROTECT, related_name="+")
    colour = models.ForeignKey(Colour, models.PROTECT, related_name="+", null=True, blank=True)
    origin = models.CharField(_("origin"), max_length=30, choices=Origin.choices)
    price_minor_per_kg = models.PositiveIntegerField(_("expected price, cents per kg"))
    to_complete_minor_per_kg = models.PositiveIntegerField(_("cost to complete"), default=0)
    to_sell_minor_per_kg = models.PositiveIntegerField(_("cost to sell"), default=0)

    class Meta:
        verbose_name = _("class price")
        verbose_name_plural = _("class prices")
        constraints = [
            models.UniqueConstraint(
                fields=["polymer", "colour", "origin"], name="class_price_once"
            ),
            models.UniqueConstraint(
                # NULL differs from NULL in a unique constraint, so the one above would admit any
                # number of prices "for all colours".
                fields=["polymer", "origin"],
                condition=models.Q(colour=None),
                name="class_price_once_for_all_colours",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.polymer} {self.colour or '*'} {self.origin}"
