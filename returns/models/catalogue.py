"""What was sold: models, colourways, bills of materials, production batches, sold units."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Colour, Kept, Part, Polymer


class RimShape(models.TextChoices):
    """The outline of a model's rims, as our own drawings have it."""

    ROUND = "round", _("round")
    PANTO = "panto", _("panto: rounded, narrower below")
    RECTANGULAR = "rectangular", _("rectangular")


class FrameModel(Kept):
    code = models.SlugField(_("code"), max_length=30, unique=True)
    name = models.CharField(_("name"), max_length=60)
    active = models.BooleanField(_("on sale or still served"), default=True)
    rim = models.CharField(
        _("shape of the rims"), max_length=12, choices=RimShape.choices, default=RimShape.PANTO
    )
    new_frame_cost_minor = models.PositiveIntegerField(_("cost of making one new, cents"))
    expected_life_months = models.PositiveIntegerField(
        _("lifetime the trade expects, months"), default=24
    )

    class Meta:
        verbose_name = _("frame model")
        verbose_name_plural = _("frame models")
        ordering = ["name"]

    def __str__(self) -> str:
        return self.name


class Colourway(Kept):
    """What a model is made of when it is sold in one look.

    Polymer and colour are those of every component of frame material, but for the components that
    `differing` names.
    """

    model = models.ForeignKey(FrameModel, models.PROTECT, related_name="colourways")
    polymer = models.ForeignKey(Polymer, models.PROTECT, related_name="+")
    colour = models.ForeignKey(Colour, models.PROTECT, related_name="+")
    variant = models.SlugField(
        _("code of the variant, such as moss-arms"), max_length=30, blank=True, default=""
    )
    name = models.CharField(
        _("name in words; empty for the colour's"), max_length=60, blank=True, default=""
    )
    lens_tint = models.CharField(_("tint of the lenses"), max_length=40, blank=True, default="")
    active = models.BooleanField(_("active"), default=True)

    class Meta:
        verbose_name = _("colourway")
        verbose_name_plural = _("colourways")
        ordering = ["model__name", "colour__code", "variant"]
        constraints = [
            models.UniqueConstraint(
                fields=["model", "colour", "variant"], name="colourway_once_per_model"
            )
        ]

    def __str__(self) -> str:
        return f"{self.model} · {self.words}"

    @property
    def words(self) -> str:
        """What people call this look."""
        return self.name or self.colour.name


class ComponentKind(models.TextChoices):
    FRONT = "front", _("front")
    ARM = "arm", _("arm")
    LENS = "lens", _("lens")
    SCREW = "screw", _("hinge screw")
    PAD = "pad", _("nose pad")


class ComponentKey(models.TextChoices):
    """The parts that a customer or bench hand can point at. The drawing has one shape each."""

    FRONT = "front", _("front")
    BRIDGE = "bridge", _("bridge")
    ARM_LEFT = "arm_left", _("left arm")
    ARM_RIGHT = "arm_right", _("right arm")
    HINGE_LEFT = "hinge_left", _("left hinge")
    HINGE_RIGHT = "hinge_right", _("right hinge")
    SCREW_LEFT = "screw_left", _("left hinge screw")
    SCREW_RIGHT = "screw_right", _("right hinge screw")
    LENS_LEFT = "lens_left", _("left lens")
    LENS_RIGHT = "lens_right", _("right lens")


class Component(Kept):
    """One line of a bill of materials. The spread is one standard deviation of one piece."""

    # A bill belongs to its model and goes with it; a model that was ever sold is held by its
    # colourways.
    model = models.ForeignKey(FrameModel, models.CASCADE, related_name="components")
    key = models.CharField(_("component"), max_length=20, choices=ComponentKey.choices)
    kind = models.CharField(_("kind"), max_length=10, choices=ComponentKind.choices)
    nominal_mg = models.PositiveIntegerField(_("nominal mass, mg"))
    spread_mg = models.PositiveIntegerField(_("mass spread, mg"))
    is_frame_material = models.BooleanField(_("is frame polymer"), default=False)
    part = models.ForeignKey(
        Part, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("spare part")
    )
    in_kit = models.BooleanField(_("comes in the spare kit"), default=False)
    wall_um = models.PositiveIntegerField(_("wall around the hole, µm"), null=True, blank=True)

    class Meta:
        verbose_name = _("component")
        verbose_name_plural = _("bill of materials")
        ordering = ["model", "key"]
        constraints = [
            models.UniqueConstraint(fields=["model", "key"], name="component_once_per_model"),
            models.CheckConstraint(condition=Q(nominal_mg__gte=1), name="component_has_mass"),
        ]

    def __str__(self) -> str:
        return f"{self.model} {self.get_key_display()}"


class DifferingComponent(Kept):
    """A component that a colourway has otherwise: of another material, or with another part.

    What is left empty is as for the rest: the colourway's material, the bill's spare part.
    """

    colourway = models.ForeignKey(Colourway, models.CASCADE, related_name="differing")
    key = models.CharField(_("component"), max_length=20, choices=ComponentKey.choices)
    polymer = models.ForeignKey(Polymer, models.PROTECT, null=True, blank=True, related_name="+")
    colour = models.ForeignKey(Colour, models.PROTECT, null=True, blank=True, related_name="+")
    part = models.ForeignKey(
        Part, models.PROTECT, null=True, blank=True, related_name="+", verbose_name=_("spare part")
    )
    # Another polymer is of another density.
    nominal_mg = models.PositiveIntegerField(_("nominal mass, mg"), null=True, blank=True)
    spread_mg = models.PositiveIntegerField(_("mass spread, mg"), null=True, blank=True)

    class Meta:
        verbose_name = _("component that differs")
        verbose_name_plural = _("components that differ")
        ordering = ["colourway", "key"]
        constraints = [
            models.UniqueConstraint(fields=["colourway", "key"], name="component_differs_once"),
            models.CheckConstraint(
                condition=Q(polymer__isnull=True, colour__isnull=True, part__isnull=False)
                | Q(polymer__isnull=False, colour__isnull=False),
                name="differing_component_says_how",
                violation_error_message=_(
                    "Name its material (polymer and colour), its own spare part, or both."
                ),
            ),
            models.CheckConstraint(
                condition=Q(nominal_mg__isnull=True, spread_mg__isnull=True)
                | Q(nominal_mg__gte=1, spread_mg__isnull=False),
                name="differing_component_has_mass_and_spread",
                violation_error_message=_("Write mass and spread together, or neither."),
            ),
        ]

    def __str__(self) -> str:
        return f"{self.colourway_id} {self.get_key_display()}"


class RepairScores(Kept):
    """How easy one kind of component of a model is to repair, as the owner judges it."""

    _SCORE = [MinValueValidator(1), MaxValueValidator(5)]

    model = models.ForeignKey(FrameModel, models.CASCADE, related_name="repair_scores")
    kind = models.CharField(_("component"), max_length=10, choices=ComponentKind.choices)
    steps = models.PositiveSmallIntegerField(_("steps to take it off"))
    fasteners = models.PositiveSmallIntegerField(
        _("fasteners, 1 (destroyed) to 5 (used again)"), validators=_SCORE
    )
    tools = models.PositiveSmallIntegerField(
        _("tools, 1 (only ours) to 5 (none or any household's)"), validators=_SCORE
    )
    information = models.PositiveSmallIntegerField(
        _("repair instructions, 1 (none) to 5 (public)"), validators=_SCORE
    )

    class Meta:
        verbose_name = _("repair scores")
        verbose_name_plural = _("repair scores")
        ordering = ["model", "kind"]
        constraints = [
            models.UniqueConstraint(fields=["model", "kind"], name="repair_scores_once_per_kind"),
            models.CheckConstraint(
                condition=Q(
                    fasteners__range=(1, 5), tools__range=(1, 5), information__range=(1, 5)
                ),
                name="repair_scores_are_1_to_5",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.model} {self.get_kind_display()}"


class ProductionBatch(Kept):
    """A moulded batch, with the spread of heat passes that its material has had."""

    code = models.CharField(_("code"), max_length=20, unique=True)
    colourway = models.ForeignKey(Colourway, models.PROTECT, related_name="batches")
    made_on = models.DateField(_("moulded on"))
    pieces = models.PositiveIntegerField(_("good pieces"))
    heat = models.JSONField(_("heat passes: list of [passes, parts per million]"))
    issued_mg = models.PositiveBigIntegerField(_("flake issued, mg"), default=0)
    # What the workshop notes on the batch card. None of it is needed.
    mould_temperature_c = models.PositiveSmallIntegerField(
        _("temperature of the mould, °C"), null=True, blank=True
    )
    melt_temperature_c = models.PositiveSmallIntegerField(
        _("temperature of the melt, °C"), null=True, blank=True
    )
    force_n = models.PositiveIntegerField(_("force of the press, N"), null=True, blank=True)
    press_time_s = models.PositiveIntegerField(
        _("time under pressure, seconds"), null=True, blank=True
    )
    work_minutes = models.PositiveIntegerField(
        _("minutes of work on the whole batch, to the finished pair"), null=True, blank=True
    )
    settings_note = models.CharField(_("note"), max_length=200, blank=True, default="")

    class Meta:
        verbose_name = _("production batch")
        verbose_name_plural = _("production batches")
        ordering = ["-made_on", "code"]

    def __str__(self) -> str:
        return self.code


class BatchMaterial(Kept):
    """The heat passes of one material of a batch whose front and arms differ.

    A material without a row, and every batch of one material, has the spread of the batch.
    """

    batch = models.ForeignKey(ProductionBatch, models.CASCADE, related_name="materials")
    polymer = models.ForeignKey(Polymer, models.PROTECT, related_name="+")
    colour = models.ForeignKey(Colour, models.PROTECT, related_name="+")
    heat = models.JSONField(_("heat passes: list of [passes, parts per million]"))

    class Meta:
        verbose_name = _("material of a batch")
        verbose_name_plural = _("materials of a batch")
        ordering = ["batch", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["batch", "polymer", "colour"], name="material_once_in_a_batch"
            )
        ]

    def __str__(self) -> str:
        return f"{self.batch_id} {self.polymer_id} {self.colour_id}"


class SoldUnits(models.Model):
    """How many pieces of a batch were sold in a month. Comes from an import."""

    batch = models.ForeignKey(ProductionBatch, models.PROTECT, related_name="sold")
    # Text such as 2026-10, which sorts by time and is the same on both databases.
    month = models.CharField(_("month"), max_length=7)
    pieces = models.PositiveIntegerField(_("pieces"))
    imported_at = models.DateTimeField(_("imported"))

    class Meta:
        verbose_name = _("sold units")
        verbose_name_plural = _("sold units")
        ordering = ["month", "batch"]
        constraints = [
            # The import writes over a month by this constraint; without it a list sent twice would
            # double sales.
            models.UniqueConstraint(fields=["batch", "month"], name="sold_units_once_per_month")
        ]

    def __str__(self) -> str:
        return f"{self.batch} {self.month}: {self.pieces}"
