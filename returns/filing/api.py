"""Filing a request: what any customer may do, from any program that speaks for one."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from django.conf import settings
from django.urls import reverse
from rest_framework import serializers
from rest_framework.parsers import MultiPartParser

from inventory.errors import NotOpenYet
from inventory.furniture.api.parsing import BoundedJSON
from inventory.furniture.api.shapes import Body, Moment
from inventory.furniture.api.throttles import VisitorThrottle
from inventory.furniture.api.views import ActionView
from returns.customers.rules import Contact
from returns.filing.rules import intake, photos
from returns.filing.rules.intake import AskedFrame, Filing
from returns.furniture.api.lookups import ColourwayCode
from returns.models import Request
from returns.setup import queries as readiness

CONTACT = tuple(Contact.__slots__)


class ContactBody(Body):
    """Where something may be posted to, flat in the body."""

    name = serializers.CharField(max_length=100)
    street = serializers.CharField(max_length=120)
    extra = serializers.CharField(max_length=120, allow_blank=True, default="")
    postal_code = serializers.CharField(max_length=12, allow_blank=True, default="")
    city = serializers.CharField(max_length=80)
    region = serializers.CharField(max_length=80, allow_blank=True, default="")
    country = serializers.CharField(max_length=2)


class TroubleBody(Body):
    """One more thing that is wrong with the same frame."""

    component = serializers.CharField(max_length=20)
    defect = serializers.CharField(max_length=20)


class BrokenBody(Body):
    """One frame, and what is wrong with it."""

    colourway = ColourwayCode()
    component = serializers.CharField(max_length=20)
    defect = serializers.CharField(max_length=20)
    troubles = serializers.ListSerializer[Any](
        child=TroubleBody(),
        max_length=intake.TROUBLES_MAX - 1,
        default=list,
        help_text="What else is wrong with the same frame.",
    )
    note = serializers.CharField(max_length=500, allow_blank=True, default="")
    photos = serializers.ListField(
        child=serializers.FileField(), max_length=photos.PHOTOS_MAX, required=False
    )


class FrameBody(BrokenBody):
    """A frame that is sent back, and what shall become of it."""

    colourway = ColourwayCode(allow_null=True, help_text="Null when the model is not known.")
    wish = serializers.CharField(
        max_length=10, help_text="If it cannot be mended: regrind or post_back."
    )
    lenses_back = serializers.BooleanField(default=False)


class FilingBody(ContactBody, BrokenBody):
    """Who files, flat in the body beside the frame."""

    notice = serializers.CharField(
        max_length=10, help_text="Version of the privacy notice that the person has read."
    )
    email = serializers.CharField(max_length=254)
    language = serializers.ChoiceField(
        choices=[code for code, _name in settings.LANGUAGES], default="en"
    )


class SendBackBody(FrameBody, FilingBody):
    further_frames = serializers.ListSerializer[Any](
        child=FrameBody(),
        default=list,
        max_length=intake.FRAMES_MAX - 1,
        help_text="More frames in the same parcel.",
    )


class FiledAnswer(serializers.Serializer[Request]):
    """`secret` opens the request's story. It is told here and in the letter, and never stored."""

    reference = serializers.CharField()
    kind = serializers.CharField()
    state = serializers.CharField()
    filed_at = Moment()
    promised_by = serializers.DateField(allow_null=True)
    secret = serializers.SerializerMethodField()
    link = serializers.SerializerMethodField()

    def get_secret(self, request: Request) -> str:
        return intake.link_secret(request)

    def get_link(self, request: Request) -> str:
        return f"{settings.BASE_URL}{reverse('story', args=[intake.link_secret(request)])}"


def asked(given: dict[str, Any]) -> AskedFrame:
    """Return what a body says of one frame, as the rules take it."""
    return AskedFrame(
        colourway=given["colourway"],
        component=given["component"],
        defect=given["defect"],
        note=given["note"],
        wish=given.get("wish", ""),
        lenses_back=given.get("lenses_back", False),
        more=tuple((one["component"], one["defect"]) for one in given.get("troubles", [])),
    )


class TellsLink:
    """Mixed into an action whose answer holds a request's private link."""

    def kept(self, answer: Any) -> Any:
        # The answer to a repeat is stored. The secret is not: whoever reads the table must not be
        # able to open stories.
        return {name: value for name, value in answer.items() if name not in ("secret", "link")}

    def replayed(self, stored: Any) -> Any:
        # The secret is derived again for the repeat, so that a client whose answer got lost still
        # gets its link.
        answer = FiledAnswer(Request.objects.get(reference=stored["reference"]))
        return stored | {name: answer.data[name] for name in ("secret", "link")}


class File(TellsLink, ActionView):
    """What both filings share."""

    scope = None
    throttle_classes = [VisitorThrottle]
    throttle_scope = "file"
    parser_classes = [BoundedJSON, MultiPartParser]
    made_class = FiledAnswer
    rule: Callable[..., Request]

    def initial(self, request: Any, *args: Any, **kwargs: Any) -> None:
        """Before the body is looked at: a workshop without models can only answer this."""
        super().initial(request, *args, **kwargs)
        if not readiness.is_open():
            raise NotOpenYet()

    def perform(self, data: dict[str, Any]) -> Request:
        frames = [data, *data.get("further_frames", [])]
        pictures = [
            replace(photos.redraw(upload, size_bytes=upload.size), number=number)
            for number, frame in enumerate(frames, start=1)
            for upload in frame.get("photos", [])
        ]
        filing = Filing.of(
            [asked(frame) for frame in frames],
            notice_version=data["notice"],
            contact=Contact(**{name: data[name] for name in CONTACT}),
        )
        return type(self).rule(key=self.action_key, filing=filing, at=self.at, pictures=pictures)


class SendBack(File):
    """File a request to send one or several frames back in one parcel.

    The first frame stands in the body itself, the others in `further_frames`. Photos go as
    multipart/form-data. The answer holds the private link of the request; whoever has
    it can follow the frame. Answers `bad-input` naming the field, `not-open-yet` while the workshop
    is being set up, and `too-many-requests` beyond the hourly rate.
    """

    body_class = SendBackBody
    rule = staticmethod(intake.file_return)


class SpareScrews(File):
    """File a request for a kit of spare screws: set aside at once, or waiting for stock.

    Photos go as multipart/form-data. The answer holds the private link of the request. Answers
    `bad-input` naming the field, also when the model has no kit or too many were asked for, `not-
    open-yet` while the workshop is being set up, and `too-many-requests` beyond the rate.
    """

    body_class = FilingBody
    rule = staticmethod(intake.ask_screws)
