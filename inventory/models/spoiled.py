"""Spoiled pairs: in-process scrap that names the step it arose at and its cause."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.utils.translation import gettext_lazy as _

from inventory.models.appendonly import WriteOnce
from inventory.models.ledger import Posting
from inventory.models.workshop import OwnersWord


class Step(models.TextChoices):
    """The steps of making a frame, in the order of the work."""

    MOULDING = "moulding", _("moulding")
    DRILLING = "drilling", _("drilling")
    GROOVE = "groove", _("groove")
    FINISHING = "finishing", _("finishing")
    INSPECTION = "inspection", _("inspection")


class SpoilCause(OwnersWord):
    """A cause of spoiled pairs as the owner lists it."""

    STARTING: ClassVar = {
        "short-shot": _("short shot"),
        "flash": _("flash"),
        "burn": _("burn marks"),
        "colour": _("wrong colour or streaks"),
        "sink": _("sink mark or bubble"),
        "warped": _("warped"),
        # A tenth of a millimetre is common practice; no source.
        "hole-off": _("hole out of place by 0.1 mm or more"),
        "hole-broken": _("hole broken out"),
        "groove-slipped": _("groove slipped"),
        "groove-depth": _("groove too deep or too shallow"),
        "scratched": _("scratched"),
        "other": _("something else"),
    }

    class Meta(OwnersWord.Meta):
        verbose_name = _("cause of spoiled pairs")
        verbose_name_plural = _("causes of spoiled pairs")


class Spoiled(WriteOnce):
    """Pairs of a batch that were spoiled at one step by one cause; the posting has their grams.

    Where front and arms differ in material, each heap has a row of its own; the pairs are counted
    with the first, and the others have none.
    """

    batch_code = models.CharField(_("production batch"), max_length=20, db_index=True)
    step = models.CharField(_("step"), max_length=10, choices=Step.choices)
    cause = models.CharField(_("cause"), max_length=20)
    pieces = models.PositiveIntegerField(_("pairs, counted with their first heap"))
    posting = models.OneToOneField(Posting, models.PROTECT, related_name="spoiled")

    class Meta:
        verbose_name = _("spoiled pairs")
        verbose_name_plural = _("spoiled pairs")
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.pieces} of {self.batch_code}: {self.cause}"
