"""What the workshop can do about a defect, and the limits that the owner sets."""

from __future__ import annotations

from django.core.validators import MaxValueValidator
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Kept, Part
from returns.models.catalogue import ComponentKind


class DefectKey(models.TextChoices):
    SNAPPED = "snapped", _("snapped")
    CRACKED_PIVOT = "cracked_pivot", _("cracked through the pivot")
    CRACKED = "cracked", _("cracked elsewhere")
    STRIPPED = "stripped_hole", _("screw hole stripped")
    OFFSET = "hole_offset", _("screw hole out of place")
    GROOVE = "groove_worn", _("lens groove worn")
    WARPED = "warped", _("warped")
    SCUFFED = "scuffed", _("scuffed")
    LOOSE = "loose_screw", _("screw loose")
    MISSING = "missing", _("missing")
    FOREIGN = "foreign", _("foreign part")


class Method(models.TextChoices):
    """How a remedy works: the limits that overrule money speak of methods."""

    REPLACE = "replace", _("replace the component")
    TIGHTEN = "tighten", _("tighten or refit")
    STEP_UP = "step_up", _("step up one screw size")
    GLUE = "glue", _("glue")
    RESHAPE = "reshape", _("warm and reshape")
    POLISH = "polish", _("polish")


class Remedy(Kept):
    """Answers one defect on one kind of component."""

    key = models.SlugField(_("key"), max_length=40, unique=True)
    name = models.CharField(_("name"), max_length=80)
    component_kind = models.CharField(_("component"), max_length=10, choices=ComponentKind.choices)
    defect = models.CharField(_("defect"), max_length=20, choices=DefectKey.choices)
    minutes = models.PositiveIntegerField(_("minutes"))
    # Whole parts per million: no float is stored, here or in any other quantity.
    odds_ppm = models.PositiveIntegerField(
        _("odds of success, parts per million"), validators=[MaxValueValidator(1_000_000)]
    )
    method = models.CharField(_("method"), max_length=10, choices=Method.choices)
    steps = models.TextField(_("steps, one a line"), blank=True, default="")
    caution = models.CharField(_("caution"), max_length=200, blank=True, default="")
    active = models.BooleanField(_("in use"), default=True)

    class Meta:
        verbose_name = _("remedy")
        verbose_name_plural = _("remedies")
        ordering = ["component_kind", "defect", "minutes"]
        constraints = [
            models.CheckConstraint(
                condition=Q(odds_ppm__lte=1_000_000), name="remedy_odds_are_a_share"
            )
        ]

    def __str__(self) -> str:
        return self.name


class RemedyPart(Kept):
    """A part that a remedy uses up. An empty part means the component's own spare part."""

    remedy = models.ForeignKey(Remedy, models.CASCADE, related_name="parts")
    part = models.ForeignKey(Part, models.PROTECT, null=True, blank=True, related_name="+")
    pieces = models.PositiveIntegerField(_("pieces"), default=1)

    class Meta:
        verbose_name = _("remedy part")
        verbose_name_plural = _("remedy parts")
        constraints = [
            models.CheckConstraint(condition=Q(pieces__gte=1), name="remedy_part_has_pieces")
        ]

    def __str__(self) -> str:
        return f"{self.remedy_id} {self.part_id}"


class Policy(Kept):
    """The owner's limits. Exactly one row, number 1."""

    ceiling_ppm = models.PositiveIntegerField(
        _("mending may cost this share of what replacing costs, parts per million"),
        default=1_200_000,
    )
    mends_max = models.PositiveIntegerField(_("mends of one frame at most"), default=3)
    wall_ratio_ppm = models.PositiveIntegerField(
        _("wall left around a screw, share of its diameter, parts per million"), default=500_000
    )
    hole_offset_um = models.PositiveIntegerField(
        _("hole offset that stops the arm, µm"), default=100
    )
    withdraw_minutes = models.PositiveIntegerField(
        _("minutes in which a mend step or a failed bench check may be withdrawn"), default=60
    )
    kits_max = models.PositiveIntegerField(_("spare kits per frame in the span below"), default=2)
    kits_days = models.PositiveIntegerField(_("span for kits, days"), default=365)
    new_frame_batches = models.PositiveSmallIntegerField(
        _("batches needed to work out the cost of a new frame; 0: always as typed"), default=5
    )
    new_frame_overhead_minor = models.PositiveIntegerField(
        _("energy, press and rent of one new frame, cents"), default=0
    )
    massfit_ratio_ppm = models.PositiveIntegerField(
        _("how much likelier one explanation must be, parts per million"), default=3_000_000
    )
    substitution_low_ppm = models.PositiveIntegerField(
        _("virgin material that a mass of flake replaces: at least, parts per million"), default=0
    )
    substitution_ppm = models.PositiveIntegerField(
        _("virgin material that a mass of flake replaces: likely, parts per million"),
        default=500_000,
    )
    substitution_high_ppm = models.PositiveIntegerField(
        _("virgin material that a mass of flake replaces: at most, parts per million"),
        default=1_000_000,
    )
    substitution_reason = models.CharField(
        _("where these three shares come from"),
        max_length=200,
        default="Own assumption, not measured",
    )

    class Meta:
        verbose_name = _("policy")
        verbose_name_plural = _("policy")
        constraints = [
            # One row also serves as a lock: what must be counted before it is written takes this
            # row first.
            models.CheckConstraint(condition=Q(pk=1), name="policy_is_one_row"),
            models.CheckConstraint(
                condition=Q(
                    substitution_low_ppm__lte=models.F("substitution_ppm"),
                    substitution_ppm__lte=models.F("substitution_high_ppm"),
                    substitution_high_ppm__lte=1_000_000,
                ),
                name="policy_substitution_lies_in_its_range",
                violation_error_message=_(
                    "The shares of virgin material replaced must rise from the lowest over the "
                    "likely one to the highest, and stay within 1 000 000."
                ),
            ),
        ]

    def __str__(self) -> str:
        return str(_("policy"))

    @classmethod
    def the(cls) -> Policy:
        """Return the one row; made with defaults on an empty database."""
        return cls.objects.get_or_create(pk=1)[0]
