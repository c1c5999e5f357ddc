"""Loads of used goods, and what was taken out of them."""

from __future__ import annotations

from typing import ClassVar

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models.appendonly import WriteOnce
from inventory.models.ledger import Posting
from inventory.models.workshop import OwnersWord


class GiverClass(models.TextChoices):
    """What sort of giver a load came from; the report tells no more of them."""

    NURSERY = "nursery", _("nursery or garden centre")
    HOUSEHOLD = "household", _("household")
    TRADE = "trade", _("shop or workshop")
    PUBLIC = "public", _("school, club or town")
    UNNAMED = "unnamed", _("nobody named")


class Way(models.TextChoices):
    GIVEN = "given", _("given")
    SOLD = "sold", _("sold to us")
    LEFT = "left", _("dropped off")
    FETCHED = "fetched", _("fetched by us")


class Stream(models.TextChoices):
    """What is taken out of a load before its plastic is washed."""

    POLYMER = "polymer", _("another polymer")
    FILM = "film", _("film and labels")
    PAPER = "paper", _("paper and card")
    METAL = "metal", _("metal")
    DIRT = "dirt", _("soil and dirt")
    OTHER = "other", _("anything else")


class Went(models.TextChoices):
    """Where a stream that was taken out went."""

    SOLD = "sold", _("sold")
    GIVEN = "given", _("given on")
    KEPT = "kept", _("kept for somebody")
    WASTE = "waste", _("waste")


class GoodsKind(OwnersWord):
    """A kind of goods as the owner lists it."""

    STARTING: ClassVar = {
        "plant-pots": _("plant pots"),
        "crates": _("crates and trays"),
        "caps": _("caps and closures"),
        "buckets": _("buckets and tubs"),
        "household": _("mixed household goods"),
    }

    class Meta(OwnersWord.Meta):
        verbose_name = _("kind of goods")
        verbose_name_plural = _("kinds of goods")


class Load(models.Model):
    """A load of one kind of goods. Its masses are its movements' alone: the subject is its code."""

    class State(models.TextChoices):
        SORTING = "sorting", _("being sorted")
        FINISHED = "finished", _("sorted")
        VOID = "void", _("taken back")

    code = models.CharField(_("code"), max_length=20, unique=True)
    kind = models.CharField(_("kind of goods"), max_length=20)
    giver_class = models.CharField(
        _("from"), max_length=10, choices=GiverClass.choices, default=GiverClass.UNNAMED
    )
    way = models.CharField(_("how it came"), max_length=10, choices=Way.choices)
    cost_minor = models.PositiveIntegerField(_("paid for it, cents"), default=0)
    state = models.CharField(max_length=10, choices=State.choices, default=State.SORTING)
    received_at = models.DateTimeField(_("received"))
    finished_at = models.DateTimeField(_("sorted"), null=True, blank=True)

    class Meta:
        verbose_name = _("load of goods")
        verbose_name_plural = _("loads of goods")
        ordering = ["-received_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(way="sold") | Q(cost_minor=0), name="only_sold_goods_cost_money"
            ),
            models.CheckConstraint(
                condition=Q(state="finished", finished_at__isnull=False)
                | ~Q(state="finished") & Q(finished_at__isnull=True),
                name="a_sorted_load_has_its_moment",
            ),
        ]

    def __str__(self) -> str:
        return self.code


class LoadEntry(WriteOnce):
    """What one posting of a load was: the ledger has the grams, this has their meaning."""

    class Act(models.TextChoices):
        RECEIVED = "received", _("weighed as it came")
        TAKEN_OUT = "taken_out", _("taken out")
        BOXED = "boxed", _("into its box")
        LOST = "lost", _("washed and dried off")
        FOUND = "found", _("more than was booked")
        PICKED_OUT = "picked_out", _("wrong polymer picked out later")
        PASSED_ON = "passed_on", _("passed on")

    load = models.ForeignKey(Load, models.PROTECT, related_name="entries")
    posting = models.OneToOneField(Posting, models.PROTECT, related_name="goods")
    act = models.CharField(_("what"), max_length=12, choices=Act.choices)
    stream = models.CharField(_("stream"), max_length=10, choices=Stream.choices, blank=True)
    went = models.CharField(_("where it went"), max_length=10, choices=Went.choices, blank=True)
    note = models.CharField(_("note"), max_length=120, blank=True, default="")
    # Of what was passed on: the entry that kept it. One to one for the grams are passed on whole,
    # but not in the database, since a passing on may be taken back and done again.
    kept_by = models.ForeignKey(
        "self", models.PROTECT, null=True, blank=True, related_name="passings"
    )

    class Meta:
        verbose_name = _("entry of a load")
        verbose_name_plural = _("entries of loads")
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(act__in=["taken_out", "picked_out", "passed_on"])
                & ~Q(stream="")
                & ~Q(went="")
                | ~Q(act__in=["taken_out", "picked_out", "passed_on"]) & Q(stream="", went=""),
                name="a_stream_says_where_it_went",
            ),
            models.CheckConstraint(
                condition=Q(act="passed_on", kept_by__isnull=False)
                | ~Q(act="passed_on") & Q(kept_by__isnull=True),
                name="what_is_passed_on_was_kept",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.load_id} {self.act}"
