"""What physically arrives: parcels, and the frames in them."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from inventory.models import Lot, Place, Reading
from returns.models.catalogue import Colourway, ComponentKey, ProductionBatch
from returns.models.filing import Request
from returns.story.sums.states import FrameState


class Parcel(models.Model):
    class Content(models.TextChoices):
        UNOPENED = "unopened", _("not yet weighed in")
        FRAMES = "frames", _("frames")
        PARTS = "parts", _("parts of a frame")
        EMPTY = "empty", _("empty")

    code = models.CharField(_("code"), max_length=20, unique=True)
    key = models.UUIDField(_("client id"), unique=True)
    request = models.ForeignKey(
        Request, models.PROTECT, null=True, blank=True, related_name="parcels"
    )
    content = models.CharField(
        _("content"), max_length=10, choices=Content.choices, default=Content.UNOPENED
    )
    arrived_at = models.DateTimeField(_("arrived"))
    done_at = models.DateTimeField(_("weighed in"), null=True, blank=True)

    class Meta:
        verbose_name = _("parcel")
        verbose_name_plural = _("parcels")
        ordering = ["arrived_at"]

    def __str__(self) -> str:
        return self.code


class ReturnedFrame(models.Model):
    """One frame in a parcel, with its own tag. Its mass lives in the ledger."""

    tag = models.CharField(_("tag"), max_length=20, unique=True)
    key = models.UUIDField(_("client id"), unique=True)
    # PROTECT throughout: nothing that a story stands on may vanish beneath it.
    parcel = models.ForeignKey(Parcel, models.PROTECT, related_name="frames")
    request = models.ForeignKey(
        Request, models.PROTECT, null=True, blank=True, related_name="frames"
    )
    # The partner's slip that lay with it, while nobody has filed with that slip.
    partner_slip = models.ForeignKey(
        "returns.PartnerSlip", models.PROTECT, null=True, blank=True, related_name="frames"
    )
    # Which of the frames that its request names; empty while it has no request.
    number = models.PositiveSmallIntegerField(
        _("which frame of the request"), null=True, blank=True
    )
    colourway = models.ForeignKey(
        Colourway, models.PROTECT, null=True, blank=True, related_name="frames"
    )
    batch = models.ForeignKey(
        ProductionBatch, models.PROTECT, null=True, blank=True, related_name="frames"
    )
    is_stranger = models.BooleanField(_("not one of ours"), default=False)
    state = models.CharField(
        _("state"), max_length=16, choices=[(s.value, s.value) for s in FrameState]
    )
    wish = models.CharField(_("wish"), max_length=10, blank=True, default="")
    lenses_back = models.BooleanField(_("lenses to be posted back"), default=False)
    cleaned_at = models.DateTimeField(_("cleaned and disinfected"))
    reading = models.ForeignKey(Reading, models.PROTECT, related_name="+")
    # As it was computed at the weigh-in: a bill that changes later must not change what was said
    # then.
    massfit = models.JSONField(_("what the mass says"), default=dict)
    weighed_at = models.DateTimeField(_("weighed in"))
    promised_by = models.DateField(_("promised by"))
    mends_before = models.PositiveSmallIntegerField(_("mended before"), default=0)
    # Box and lot are those of its main heap; all of its heaps are in `heaps`.
    box = models.ForeignKey(Place, models.PROTECT, null=True, blank=True, related_name="frames")
    # A copy of what the ledger credited, all heaps together; the ledger decides.
    boxed_mg = models.PositiveBigIntegerField(_("frame material put in the box, mg"), default=0)
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="frames")
    ended_at = models.DateTimeField(_("story ended"), null=True, blank=True)

    class Meta:
        verbose_name = _("returned frame")
        verbose_name_plural = _("returned frames")
        ordering = ["promised_by", "tag"]
        # The queue at the bench asks for a state in the order of the promised days.
        indexes = [models.Index(fields=["state", "promised_by"])]

    def __str__(self) -> str:
        return self.tag


class FrameHeap(models.Model):
    """Frame material of one frame in one box, and the lot that it was ground into.

    A copy of what the ledger credited, for the share of a frame in a batch; the ledger decides.
    """

    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="heaps")
    box = models.ForeignKey(Place, models.PROTECT, related_name="heaps")
    mass_mg = models.PositiveBigIntegerField(_("put in the box, mg"))
    lot = models.ForeignKey(Lot, models.PROTECT, null=True, blank=True, related_name="heaps")

    class Meta:
        verbose_name = _("heap of a frame")
        verbose_name_plural = _("heaps of frames")
        ordering = ["frame", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["frame", "box"], name="one_heap_per_frame_and_box"),
            models.CheckConstraint(condition=Q(mass_mg__gte=1), name="heap_has_mass"),
        ]

    def __str__(self) -> str:
        return f"{self.frame_id} in {self.box_id}: {self.mass_mg} mg"


class LaterPart(models.Model):
    """A part that came after its frame and joined it. Its mass lies in the ledger, by its frame."""

    key = models.UUIDField(_("client id"), unique=True)
    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="later_parts")
    parcel = models.ForeignKey(Parcel, models.PROTECT, related_name="later_parts")
    component = models.CharField(
        _("what part"), max_length=20, choices=ComponentKey.choices, blank=True, default=""
    )
    reading = models.ForeignKey(Reading, models.PROTECT, related_name="+")
    joined_at = models.DateTimeField(_("joined"))
    undone_at = models.DateTimeField(_("undone"), null=True, blank=True)

    class Meta:
        verbose_name = _("part that came later")
        verbose_name_plural = _("parts that came later")
        ordering = ["joined_at", "pk"]

    def __str__(self) -> str:
        return f"{self.frame}: {self.get_component_display() or '–'}"
