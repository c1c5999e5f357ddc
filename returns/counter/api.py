"""Walk-ins: a frame that somebody brings to the counter is filed and weighed in at once."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api.shapes import Codes, ScaleName, TypedMass
from inventory.furniture.api.views import ActionView
from returns.arriving.rules import REASON_LENGTH_MAX, WeighIn
from returns.counter import rules
from returns.customers.rules import Contact
from returns.filing.api import CONTACT, FiledAnswer, SendBackBody, TellsLink, asked
from returns.filing.rules.intake import Filing
from returns.models import Request, WalkIn


class WalkInBody(SendBackBody):
    """As a send-back of one frame, and what the scale shows."""

    email = serializers.CharField(
        max_length=254, allow_blank=True, default="", help_text="The receipt then has the link."
    )
    scale = ScaleName()
    mass = TypedMass()
    cleaned = serializers.BooleanField(help_text="Washed, disinfected and dried.")
    again = TypedMass(
        required=False,
        allow_blank=True,
        default="",
        help_text="A second reading of the same scale, where the first is doubtful.",
    )
    reason = serializers.CharField(
        max_length=REASON_LENGTH_MAX,
        allow_blank=True,
        default="",
        help_text="Why it weighs so much or so little, instead of a second reading.",
    )
    consent = serializers.ChoiceField(
        choices=WalkIn.Consent.choices,
        help_text="How the customer gave the wish, which the caller has seen.",
    )
    # One frame at a time stands on the scale, and it is here to be looked at.
    collects = serializers.BooleanField(
        default=False, help_text="The customer fetches it at the counter; nothing goes by post."
    )
    further_frames = None  # type: ignore[assignment]
    photos = None  # type: ignore[assignment]


class WalkInAnswer(FiledAnswer):
    consent = serializers.CharField(source="walk_in.consent")
    frames = Codes(by="tag")


class WalkIns(TellsLink, ActionView):
    """Take in the frame of somebody who stands at the counter: filed, agreed to, weighed in.

    All of it happens or nothing. The person behind the token vouches that the customer pressed
    their wish on a screen or signed a slip. The answer holds the private link, for the receipt.
    Answers `bad-input` naming every field to put right, also for a mass that no such frame weighs.
    """

    scope = "bench"
    body_class = WalkInBody
    made_class = WalkInAnswer

    def perform(self, data: dict[str, Any]) -> Request:
        filing = Filing.of(
            [asked(data)],
            notice_version=data["notice"],
            contact=Contact(**{name: data[name] for name in CONTACT}),
        )
        names = ("scale", "mass", "cleaned", "colourway", "again", "reason")
        weighing = WeighIn(**{name: data[name] for name in names})
        return rules.take_in(
            key=self.action_key,
            filing=filing,
            weighing=weighing,
            consent=data["consent"],
            collects=data["collects"],
            at=self.at,
            by=self.by,
        ).request
