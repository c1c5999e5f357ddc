"""The workshop itself: one row that the owner edits."""

from __future__ import annotations

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _


class Workshop(models.Model):
    """Name, address, money and limits. Exactly one row, number 1."""

    name = models.CharField(_("name"), max_length=80, default="My workshop")
    address = models.TextField(_("postal address"), blank=True, default="")
    country = models.CharField(_("country code"), max_length=2, default="DE")
    email = models.EmailField(_("email"), default="workshop@example.org")
    currency = models.CharField(_("currency (ISO 4217)"), max_length=3, default="EUR")
    demo = models.BooleanField(_("runs on the invented demo data"), default=False)
    labour_minor_per_hour = models.PositiveIntegerField(_("labour, cents per hour"), default=2400)
    postage_out_minor = models.PositiveIntegerField(_("postage out, cents"), default=380)
    postage_in_minor = models.PositiveIntegerField(_("postage in, cents"), default=380)
    strip_minutes = models.PositiveIntegerField(_("minutes to strip a frame"), default=4)
    grind_loss_limit_ppm = models.PositiveIntegerField(
        _("highest plausible loss of a grind run, parts per million"),
        default=60_000,
        validators=[MaxValueValidator(1_000_000)],
    )
    promise_days = models.PositiveIntegerField(_("promised turnaround, days"), default=21)
    kit_promise_days = models.PositiveIntegerField(_("promised kit posting, days"), default=3)
    retention_days = models.PositiveIntegerField(
        _("days that personal data is kept after the story ends"),
        default=180,
        validators=[MinValueValidator(30)],
    )
    label_width_mm = models.PositiveIntegerField(_("label width, mm"), default=62)
    label_height_mm = models.PositiveIntegerField(_("label height, mm"), default=29)
    public_page = models.BooleanField(_("show the public claims page"), default=False)

    class Meta:
        verbose_name = _("workshop")
        verbose_name_plural = _("workshop")
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="workshop_is_one_row"),
            models.CheckConstraint(
                condition=models.Q(grind_loss_limit_ppm__lte=1_000_000),
                name="workshop_loss_limit_is_a_share",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def the(cls) -> Workshop:
        """The one row; made with defaults on an empty database."""
        return cls.objects.get_or_create(pk=1)[0]
