"""Recipe cards: which lots a batch of a blend is weighed from, and what was weighed."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models.ledger import Movement
from inventory.models.materials import Colour, Lot, Polymer


class RecipeCard(models.Model):
    """A mass of a blend that is wanted for a batch, with the recipe as it was then.

    Open until it is weighed: then `movement` is the issue to the press.
    """

    class State(models.TextChoices):
        OPEN = "open", _("to be weighed")
        WEIGHED = "weighed", _("weighed")
        DROPPED = "dropped", _("dropped")

    code = models.CharField(_("code"), max_length=20, unique=True)
    state = models.CharField(_("state"), max_length=8, choices=State.choices, default=State.OPEN)
    blend = models.ForeignKey(Colour, models.PROTECT, related_name="cards")
    polymer = models.ForeignKey(Polymer, models.PROTECT, related_name="+")
    total_mg = models.PositiveBigIntegerField(_("mass wanted, mg"))
    # Frozen: a recipe that is changed later must not change what this batch was made by.
    recipe = models.JSONField(_("recipe: list of [colour, parts per million]"))
    recipe_version = models.PositiveSmallIntegerField(_("version of the recipe"), default=1)
    tolerance_ppm = models.PositiveIntegerField(_("tolerance of a share, parts per million"))
    batch_code = models.CharField(_("production batch"), max_length=20, db_index=True)
    wanted_for = models.CharField(_("wanted for"), max_length=120)
    # The card that this one repeats.
    like = models.ForeignKey("self", models.PROTECT, null=True, blank=True, related_name="repeated")
    made_at = models.DateTimeField(_("made"))
    made_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    movement = models.OneToOneField(
        Movement, models.PROTECT, null=True, blank=True, related_name="card"
    )
    reason = models.CharField(_("why a share was missed"), max_length=200, blank=True, default="")

    class Meta:
        verbose_name = _("recipe card")
        verbose_name_plural = _("recipe cards")
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(state="weighed", movement__isnull=False)
                | ~Q(state="weighed") & Q(movement__isnull=True),
                name="weighed_cards_have_their_issue",
            ),
            models.CheckConstraint(condition=Q(total_mg__gte=1), name="card_wants_mass"),
        ]

    def __str__(self) -> str:
        return self.code


class CardLine(models.Model):
    """A lot of a recipe card, and what to take of it."""

    card = models.ForeignKey(RecipeCard, models.CASCADE, related_name="lines")
    lot = models.ForeignKey(Lot, models.PROTECT, related_name="card_lines")
    wanted_mg = models.PositiveBigIntegerField(_("to take, mg"))

    class Meta:
        verbose_name = _("line of a recipe card")
        verbose_name_plural = _("lines of recipe cards")
        ordering = ["card", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["card", "lot"], name="lot_once_on_a_card"),
            models.CheckConstraint(condition=Q(wanted_mg__gte=1), name="card_line_wants_mass"),
        ]

    def __str__(self) -> str:
        return f"{self.card_id}: {self.wanted_mg} mg of {self.lot_id}"
