"""Parts that come later: one joins its frame."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api.shapes import (
    Body,
    Code,
    Moment,
    ReadingKnown,
    ScaleName,
    Scanned,
    TypedMass,
)
from inventory.furniture.api.views import ActionView
from returns.arriving.rules import REASON_LENGTH_MAX
from returns.furniture.api.lookups import frame_at, parcel_at
from returns.joining import rules
from returns.joining.rules import PartIn
from returns.models import LaterPart


class JoinBody(Body):
    frame = serializers.CharField(max_length=20, help_text="The tag of the frame that it joins.")
    scanned = Scanned(help_text="The same tag, scanned: the proof that it is in the hand.")
    scale = ScaleName()
    mass = TypedMass()
    cleaned = serializers.BooleanField(help_text="Washed, disinfected and dried.")
    component = serializers.CharField(max_length=20, allow_blank=True, default="")
    reason = serializers.CharField(max_length=REASON_LENGTH_MAX, allow_blank=True, default="")


class LaterPartAnswer(serializers.Serializer[LaterPart]):
    frame = Code(by="tag")
    parcel = Code()
    component = serializers.CharField()
    mass_mg = serializers.IntegerField(source="reading.mass_mg")
    known = ReadingKnown(source="reading")
    joined_at = Moment()


class LaterParts(ActionView):
    """Weigh a part that came later and let it join its frame; its mass is the frame's from then on.

    The mass is text in grams as the scale shows it. Answers `bad-input` naming every field to put
    right, `wrong-scan` for another frame's tag, `not-found` for a tag or parcel that is not there,
    and `stale-state` when the parcel is finished or the frame can take no part any more: `detail`
    says what to do then.
    """

    scope = "bench"
    body_class = JoinBody
    made_class = LaterPartAnswer

    def perform(self, data: dict[str, Any]) -> LaterPart:
        parcel, frame = parcel_at(self.kwargs["code"]), frame_at(data.pop("frame"))
        part = PartIn(parcel=parcel, frame=frame, **data)
        return rules.join(key=self.action_key, part=part, at=self.at, by=self.by)
