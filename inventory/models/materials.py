"""What is weighed: polymers, colours, lots, and what a class of them sells for."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q
from django.utils.translation import gettext_lazy as _

from inventory.models.changes import Kept


class Origin(models.TextChoices):
    """Where material came from. Never mixed in a figure."""

    RETURN = "post_consumer_return", _("post-consumer return")
    FEEDSTOCK = "post_consumer_feedstock", _("post-consumer feedstock")
    IN_PROCESS = "in_process", _("in-process scrap")
    VIRGIN = "virgin", _("bought-in virgin")


class Polymer(Kept):
    code = models.CharField(_("code (ISO 1043-1)"), max_length=12, unique=True)
    name = models.CharField(_("name"), max_length=60)

    class Meta:
        verbose_name = _("polymer")
        verbose_name_plural = _("polymers")
        ordering = ["code"]

    def __str__(self) -> str:
        return self.code


WHOLE_PPM = 1_000_000


class Colour(Kept):
    """A base colour; a blend, which has a recipe; or what a colour change left behind."""

    class Kind(models.TextChoices):
        BASE = "base", _("base colour")
        BLEND = "blend", _("blend")
        PURGE = "purge", _("left over from colour changes")

    code = models.SlugField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name in words"), max_length=40)
    swatch = models.CharField(_("swatch (#rrggbb)"), max_length=7, default="#777777")
    kind = models.CharField(_("kind"), max_length=6, choices=Kind.choices, default=Kind.BASE)
    # Drawn from the recipe when it is written, so that no list asks for the shares of each swatch.
    veins = models.CharField(
        _("veins of a marbled blend (#rrggbb ...)"), max_length=63, blank=True, default=""
    )
    tolerance_ppm = models.PositiveIntegerField(
        _("a share may miss its recipe by, parts per million of the whole"), null=True, blank=True
    )
    # A blend keeps its code when its recipe is changed; a card says which version it was made by.
    recipe_version = models.PositiveSmallIntegerField(_("version of its recipe"), default=1)

    class Meta:
        verbose_name = _("colour")
        verbose_name_plural = _("colours")
        ordering = ["code"]
        constraints = [
            models.CheckConstraint(
                # A comparison with NULL is neither true nor false, and would pass.
                condition=Q(
                    kind="blend",
                    tolerance_ppm__isnull=False,
                    tolerance_ppm__range=(1, WHOLE_PPM),
                )
                | ~Q(kind="blend") & Q(tolerance_ppm__isnull=True, veins=""),
                name="blends_alone_have_a_tolerance",
                violation_error_message=_(
                    "A blend has a tolerance above zero; any other colour has none."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_blend(self) -> bool:
        return self.kind == self.Kind.BLEND


class BlendShare(Kept):
    """A line of a blend's recipe. The lines of one recipe add up to the whole: the rule sees to it.

    A share may be of another blend: its regrind.
    """

    blend = models.ForeignKey(Colour, models.PROTECT, related_name="shares")
    of = models.ForeignKey(Colour, models.PROTECT, related_name="+", verbose_name=_("colour"))
    share_ppm = models.PositiveIntegerField(_("share of the mass, parts per million"))

    class Meta:
        verbose_name = _("share of a recipe")
        verbose_name_plural = _("shares of a recipe")
        ordering = ["blend", "-share_ppm", "of__code"]
        constraints = [
            models.UniqueConstraint(fields=["blend", "of"], name="colour_once_in_a_recipe"),
            models.CheckConstraint(condition=~Q(blend=F("of")), name="no_blend_of_itself"),
            models.CheckConstraint(
                condition=Q(share_ppm__range=(1, WHOLE_PPM)), name="recipe_share_is_a_share"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.of_id} in {self.blend_id}: {self.share_ppm} ppm"


class FormerRecipe(models.Model):
    """A recipe as a blend had it before it was changed."""

    blend = models.ForeignKey(Colour, models.PROTECT, related_name="former_recipes")
    version = models.PositiveSmallIntegerField(_("version"))
    recipe = models.JSONField(_("recipe: list of [colour, parts per million]"))
    tolerance_ppm = models.PositiveIntegerField(_("tolerance of a share, parts per million"))
    replaced_at = models.DateTimeField(_("replaced"))

    class Meta:
        verbose_name = _("former recipe")
        verbose_name_plural = _("former recipes")
        ordering = ["blend", "-version"]
        constraints = [
            models.UniqueConstraint(fields=["blend", "version"], name="recipe_version_once")
        ]

    def __str__(self) -> str:
        return f"{self.blend} {self.version}"


class Admission(Kept):
    """The owner's table of what may go with what: boxes of `into` also take material of `of`.

    Of the same polymer only. The box of a blend takes that blend alone, whatever stands here.
    """

    into = models.ForeignKey(
        Colour, models.CASCADE, related_name="admits", verbose_name=_("box of")
    )
    of = models.ForeignKey(
        Colour, models.CASCADE, related_name="admitted_to", verbose_name=_("takes")
    )

    class Meta:
        verbose_name = _("what may go with what")
        verbose_name_plural = _("what may go with what")
        ordering = ["into__code", "of__code"]
        constraints = [
            models.UniqueConstraint(fields=["into", "of"], name="admission_once"),
            models.CheckConstraint(
                condition=~Q(into=F("of")), name="own_colour_needs_no_admission"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.into} ← {self.of}"


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


class ClassPrice(Kept):
    """The price that a kilogram of a class would fetch, and the costs to finish and to sell it."""

    polymer = models.ForeignKey(Polymer, models.PROTECT, related_name="+")
    colour = models.ForeignKey(Colour, models.PROTECT, related_name="+", null=True, blank=True)
    origin = models.CharField(_("origin"), max_length=30, choices=Origin.choices)
    price_minor_per_kg = models.PositiveIntegerField(_("expected price, cents per kg"))
    to_complete_minor_per_kg = models.PositiveIntegerField(_("cost to complete"), default=0)
    to_sell_minor_per_kg = models.PositiveIntegerField(_("cost to sell"), default=0)
    for_sale = models.BooleanField(
        _("kept to be sold as it is, not for our own moulding"), default=False
    )

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
