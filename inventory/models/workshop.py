"""The workshop itself: one row that the owner edits."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, ClassVar

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.models.changes import Kept


class WriteDown(models.TextChoices):
    """When stock is written down below its cost: the owner's policy, stated in the report."""

    # IAS 2 para 32, as secondary sources render it: materials for production are not written down
    # while the product is expected to sell at or above cost.
    FOR_MOULDING = (
        "for_moulding",
        _(
            "not while it is kept for our own moulding and what is moulded is expected to sell "
            "at or above its cost"
        ),
    )
    LOWEST = "lowest", _("always when it would fetch less as it is than it cost")


class Workshop(Kept):
    """Name, address, money and limits. Exactly one row, number 1."""

    name = models.CharField(_("name"), max_length=80, default="My workshop")
    address = models.TextField(_("postal address"), blank=True, default="")
    country = models.CharField(_("country code"), max_length=2, default="DE")
    email = models.EmailField(_("email"), default="workshop@example.org")
    phone = models.CharField(_("telephone"), max_length=40, blank=True, default="")
    # Lines as local law wants them: who answers for it, which register, which tax number.
    imprint = models.TextField(_("imprint"), max_length=1500, blank=True, default="")
    # SHA-256 of the picture in WorkshopLogo, so that a page need not load it to name it.
    logo_digest = models.CharField(max_length=64, blank=True, default="", editable=False)
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
    keeps_holidays = models.BooleanField(_("public holidays are days off"), default=True)
    # As the table of holidays names it, such as BY; empty is what the whole country keeps.
    holiday_region = models.CharField(_("region"), max_length=20, blank=True, default="")
    # Pairs of first and last day, as ISO texts.
    closed_days = models.JSONField(_("closing days"), default=list, blank=True)
    retention_days = models.PositiveIntegerField(
        _("days that personal data is kept after the story ends"),
        default=180,
        validators=[MinValueValidator(30)],
    )
    # No default: a size taken from one maker's roll would print beside everybody else's labels.
    label_width_mm = models.PositiveIntegerField(_("label width, mm"), null=True, blank=True)
    label_height_mm = models.PositiveIntegerField(_("label height, mm"), null=True, blank=True)
    write_down = models.CharField(
        _("stock is written down"),
        max_length=12,
        choices=WriteDown.choices,
        default=WriteDown.FOR_MOULDING,
    )
    write_down_reason = models.CharField(
        _("why this is so"), max_length=300, blank=True, default=""
    )
    public_page = models.BooleanField(_("show the public claims page"), default=False)

    class Meta:
        verbose_name = _("workshop")
        verbose_name_plural = _("workshop")
        constraints = [
            # Every rule asks for `the()` row; a second one would be a workshop that nobody reads.
            models.CheckConstraint(condition=models.Q(pk=1), name="workshop_is_one_row"),
            models.CheckConstraint(
                condition=models.Q(grind_loss_limit_ppm__lte=1_000_000),
                name="workshop_loss_limit_is_a_share",
            ),
            models.CheckConstraint(
                condition=models.Q(label_width_mm__isnull=True, label_height_mm__isnull=True)
                | models.Q(label_width_mm__isnull=False, label_height_mm__isnull=False),
                name="workshop_label_size_is_whole",
                violation_error_message=_(
                    "A label has a width and a height: enter both, or leave both empty."
                ),
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def label_size_mm(self) -> tuple[int, int] | None:
        """Width and height of the labels in the printer; None until somebody has typed them."""
        if self.label_width_mm is None or self.label_height_mm is None:
            return None
        return self.label_width_mm, self.label_height_mm

    @property
    def logo_name(self) -> str:
        """Return what the logo's address is made of; another picture has another."""
        return self.logo_digest[:16]

    @property
    def phone_link(self) -> str:
        """Return the telephone number as a link wants it (RFC 3966, 2004: no blanks)."""
        return "".join(sign for sign in self.phone if sign in "+0123456789")

    @classmethod
    def the(cls) -> Workshop:
        """Return the one row; on an empty database it is made with the defaults."""
        return cls.objects.get_or_create(pk=1)[0]


class OwnersWord(Kept):
    """A word of a list that every workshop starts with (`STARTING`, code to name) and its owner
    goes on: a row with a starting code takes that word's place, an inactive one takes it away.
    """

    STARTING: ClassVar[Mapping[str, Any]] = {}

    code = models.SlugField(_("code"), max_length=20, unique=True)
    name = models.CharField(_("name"), max_length=60)
    active = models.BooleanField(_("offered at the bench"), default=True)

    class Meta:
        abstract = True
        ordering: ClassVar = ["name"]

    def __str__(self) -> str:
        return self.name

    @classmethod
    def offered(cls) -> dict[str, str]:
        """Return code -> name of the words that may be chosen, in the order of the names."""
        own = {word.code: word for word in cls._default_manager.all()}
        found = {code: str(name) for code, name in cls.STARTING.items() if code not in own}
        found |= {word.code: word.name for word in own.values() if word.active}
        return dict(sorted(found.items(), key=lambda item: item[1].casefold()))

    @classmethod
    def names(cls) -> dict[str, str]:
        """Return code -> name of every word, offered or not."""
        return {code: str(name) for code, name in cls.STARTING.items()} | cls.own()

    @classmethod
    def own(cls) -> dict[str, str]:
        """Return code -> name of the owner's own words: what a closed month must freeze."""
        return dict(cls._default_manager.values_list("code", "name"))


class WorkshopLogo(models.Model):
    """The workshop's picture for pages, letters and papers, drawn anew by us. At most one row."""

    png = models.BinaryField()

    class Meta:
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="logo_is_one_row"),
        ]

    def __str__(self) -> str:
        return "logo"
