"""What one shift leaves to the next: where things lie, notes, and photos taken at the bench."""

from __future__ import annotations

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from returns.models.arrivals import ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.models.remedies import DefectKey


class ShelfPlace(models.Model):
    """Where a frame or a box stands, by its own code. No row: nobody has said."""

    subject = models.CharField(
        _("tag of the frame, or code of the box"), max_length=60, unique=True
    )
    shelf = models.CharField(_("shelf place"), max_length=12, db_index=True)
    set_at = models.DateTimeField(_("put there"))
    set_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        verbose_name = _("shelf place")
        verbose_name_plural = _("shelf places")
        constraints = [
            models.CheckConstraint(condition=~Q(shelf=""), name="a_shelf_place_has_a_code")
        ]

    def __str__(self) -> str:
        return self.shelf


class HandoverNote(models.Model):
    """A note for whoever comes next; it stays when it is done."""

    text = models.CharField(_("note"), max_length=300)
    frame = models.ForeignKey(
        ReturnedFrame, models.PROTECT, null=True, blank=True, related_name="notes"
    )
    written_at = models.DateTimeField(_("written"))
    written_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")
    done_at = models.DateTimeField(_("done"), null=True, blank=True, db_index=True)
    done_by = models.ForeignKey(
        settings.AUTH_USER_MODEL, models.PROTECT, null=True, blank=True, related_name="+"
    )

    class Meta:
        verbose_name = _("hand-over note")
        verbose_name_plural = _("hand-over notes")
        ordering = ["written_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(done_at=None, done_by=None)
                | Q(done_at__isnull=False, done_by__isnull=False),
                name="a_done_note_says_by_whom",
            )
        ]

    def __str__(self) -> str:
        return self.text


class BenchPhoto(models.Model):
    """A picture that the bench took of a frame; `component` and `defect` say what it shows."""

    frame = models.ForeignKey(ReturnedFrame, models.PROTECT, related_name="bench_photos")
    component = models.CharField(
        _("what part"), max_length=20, choices=ComponentKey.choices, blank=True, default=""
    )
    defect = models.CharField(
        _("what is wrong"), max_length=20, choices=DefectKey.choices, blank=True, default=""
    )
    file_name = models.CharField(max_length=60, unique=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    taken_at = models.DateTimeField(_("taken"))
    taken_by = models.ForeignKey(settings.AUTH_USER_MODEL, models.PROTECT, related_name="+")

    class Meta:
        verbose_name = _("photo of the bench")
        verbose_name_plural = _("photos of the bench")
        ordering = ["taken_at", "pk"]

    def __str__(self) -> str:
        return self.file_name
