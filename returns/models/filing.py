"""What a customer files."""

from __future__ import annotations

from django.db import models
from django.db.models import Q
from django.utils.translation import gettext_lazy as _

from returns.models.catalogue import Colourway, ComponentKey
from returns.models.people import Person
from returns.models.remedies import DefectKey
from returns.story.sums.states import RequestState


class Wish(models.TextChoices):
    """What we may do if it cannot be mended."""

    REGRIND = "regrind", _("grind it and mould it into the next one")
    POST_BACK = "post_back", _("post it back to me as it is")


class Request(models.Model):
    class Kind(models.TextChoices):
        SCREWS = "spare_screws", _("spare screws")
        SEND_BACK = "send_back", _("send back")

    reference = models.CharField(_("reference"), max_length=20, unique=True)
    # The link's secret is derived from this salt and the server's key; only its hash is looked up.
    link_salt = models.CharField(max_length=64)
    link_hash = models.CharField(max_length=64, unique=True)
    key = models.UUIDField(_("client id"), unique=True)
    kind = models.CharField(_("kind"), max_length=12, choices=Kind.choices)
    state = models.CharField(
        _("state"), max_length=20, choices=[(s.value, s.value) for s in RequestState]
    )
    # The one link that may be cut: a person can go while the request stays, for figures stand on
    # it.
    person = models.ForeignKey(
        Person, models.SET_NULL, null=True, blank=True, related_name="requests"
    )
    # Empty when the customer could not tell: the bench finds out when the frame is there.
    colourway = models.ForeignKey(
        Colourway, models.PROTECT, null=True, blank=True, related_name="requests"
    )
    component = models.CharField(_("what part"), max_length=20, choices=ComponentKey.choices)
    defect = models.CharField(_("what is wrong"), max_length=20, choices=DefectKey.choices)
    note = models.CharField(_("in your words"), max_length=500, blank=True, default="")
    wish = models.CharField(_("wish"), max_length=10, choices=Wish.choices, blank=True, default="")
    lenses_back = models.BooleanField(_("post my lenses back"), default=False)
    notice_version = models.CharField(_("notice agreed to"), max_length=10, default="1")
    filed_at = models.DateTimeField(_("filed"))
    promised_by = models.DateField(_("promised by"), null=True, blank=True)
    posted_at = models.DateTimeField(_("posted"), null=True, blank=True)
    ended_at = models.DateTimeField(_("story ended"), null=True, blank=True)
    # The customer's own word that the parcel is in the post, and the carrier's number for it.
    # What is mended or goes back as it is waits at the counter; the post is not asked.
    collects = models.BooleanField(_("collected at the counter"), default=False)
    sent_at = models.DateTimeField(_("posted by the customer"), null=True, blank=True)
    carrier_number = models.CharField(_("carrier's number"), max_length=40, blank=True, default="")
    # Since when its parcel is awaited, when that is not since the filing: it was revived.
    revived_at = models.DateTimeField(_("revived"), null=True, blank=True)
    reminded_at = models.DateTimeField(_("reminded"), null=True, blank=True)

    class Meta:
        verbose_name = _("request")
        verbose_name_plural = _("requests")
        ordering = ["-filed_at"]
        indexes = [models.Index(fields=["state", "promised_by"])]
        constraints = [
            models.CheckConstraint(
                # Nobody's frame may come to us without a word on what happens if it cannot be
                # mended.
                condition=Q(kind="spare_screws", wish="") | Q(kind="send_back") & ~Q(wish=""),
                name="send_back_has_a_wish",
            ),
            models.CheckConstraint(
                condition=Q(kind="send_back") | Q(colourway__isnull=False),
                name="screws_are_for_a_known_frame",
            ),
        ]

    def __str__(self) -> str:
        return self.reference

    @property
    def frame_words(self) -> str:
        """The model and colour, or that they are not known."""
        return str(self.colourway) if self.colourway else str(_("model not known"))

    @property
    def kit_for(self) -> Colourway:
        """What a request for screws is for; such a request always has it."""
        if self.colourway is None:
            raise ValueError("this request is not for a known frame")
        return self.colourway


class FurtherFrame(models.Model):
    """A frame of a request beside the first one, which the request itself names."""

    request = models.ForeignKey(Request, models.CASCADE, related_name="further_frames")
    number = models.PositiveSmallIntegerField(_("number in the request"))
    colourway = models.ForeignKey(
        Colourway, models.PROTECT, null=True, blank=True, related_name="+"
    )
    component = models.CharField(_("what part"), max_length=20, choices=ComponentKey.choices)
    defect = models.CharField(_("what is wrong"), max_length=20, choices=DefectKey.choices)
    note = models.CharField(_("in your words"), max_length=500, blank=True, default="")
    wish = models.CharField(_("wish"), max_length=10, choices=Wish.choices)
    lenses_back = models.BooleanField(_("post my lenses back"), default=False)

    class Meta:
        verbose_name = _("further frame")
        verbose_name_plural = _("further frames")
        ordering = ["number"]
        constraints = [
            models.UniqueConstraint(
                fields=["request", "number"], name="a_further_frame_has_its_own_number"
            ),
            # The first is the request's own, and none comes without a word on what may be done.
            models.CheckConstraint(condition=Q(number__gte=2), name="further_frames_begin_at_two"),
            models.CheckConstraint(condition=~Q(wish=""), name="each_further_frame_has_a_wish"),
        ]

    def __str__(self) -> str:
        return f"{self.request} {self.number}"


class Trouble(models.Model):
    """What is wrong with a frame beside the first thing, which the frame's own row names."""

    request = models.ForeignKey(Request, models.CASCADE, related_name="troubles")
    number = models.PositiveSmallIntegerField(_("which frame of the request"), default=1)
    component = models.CharField(_("what part"), max_length=20, choices=ComponentKey.choices)
    defect = models.CharField(_("what is wrong"), max_length=20, choices=DefectKey.choices)

    class Meta:
        verbose_name = _("further trouble")
        verbose_name_plural = _("further troubles")
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["request", "number", "component", "defect"],
                name="a_trouble_is_told_once_a_frame",
            )
        ]

    def __str__(self) -> str:
        return f"{self.get_component_display()}: {self.get_defect_display()}"


class Photo(models.Model):
    """A re-encoded picture without metadata. The file's name is ours, never the sender's."""

    request = models.ForeignKey(Request, models.CASCADE, related_name="photos")
    number = models.PositiveSmallIntegerField(_("which frame of the request"), default=1)
    file_name = models.CharField(max_length=60, unique=True)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    added_at = models.DateTimeField()

    class Meta:
        verbose_name = _("photo")
        verbose_name_plural = _("photos")

    def __str__(self) -> str:
        return self.file_name


class DraftPhoto(models.Model):
    """A photo of a form that has not been filed: `form` is the form's one-time key."""

    form = models.UUIDField(_("client id"), db_index=True)
    number = models.PositiveSmallIntegerField(_("which frame of the form"), default=1)
    file_name = models.CharField(max_length=60, unique=True)
    # Tells a photo that is sent again from another one.
    digest = models.CharField(max_length=64)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    added_at = models.DateTimeField(db_index=True)

    class Meta:
        verbose_name = _("photo of a form not filed yet")
        verbose_name_plural = _("photos of forms not filed yet")

    def __str__(self) -> str:
        return self.file_name
