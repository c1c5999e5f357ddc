"""How a frame's story ends: taken apart, thrown away as foreign, or posted."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api.shapes import (
    Body,
    Code,
    KnownCode,
    Moment,
    ScaleName,
    Scanned,
    TypedMass,
)
from inventory.models import Colour, Part
from returns.grading.api import FrameAction, ReasonBody
from returns.leaving import rules as posting_out
from returns.models import Dispatch, ReturnedFrame
from returns.regrind.rules import stripdown
from returns.regrind.rules.stripdown import PIECES_MAX, Heap, Salvaged, StripDown


def _mass_or_none(**more: Any) -> TypedMass:
    return TypedMass(allow_blank=True, default="", **more)


class SalvagedBody(Body):
    part = KnownCode(Part.objects.all)
    pieces = serializers.IntegerField(min_value=1, max_value=PIECES_MAX)
    mass = TypedMass()


class HeapBody(Body):
    """Frame material of one or several of the frame's colours, and the colour of its box."""

    of = serializers.ListSerializer[Any](
        child=KnownCode(Colour.objects.all), min_length=1, max_length=10
    )
    into = KnownCode(Colour.objects.all)
    mass = TypedMass()


class StripBody(Body):
    """Each mass as typed; left empty or 0 where there was none.

    `plastic` is of the colourway's main material; `heaps` are its other materials, and what broke
    together.
    """

    scale = ScaleName()
    plastic = _mass_or_none(help_text="Clean frame material of the main colour, fit for its box.")
    heaps = serializers.ListSerializer[Any](child=HeapBody(), max_length=20, default=list)
    lenses = _mass_or_none()
    metal = _mass_or_none()
    foreign = _mass_or_none()
    salvaged = serializers.ListSerializer[Any](child=SalvagedBody(), max_length=20, default=list)
    reason = serializers.CharField(max_length=200, allow_blank=True, default="")


class StripDowns(FrameAction):
    """Take a frame apart for grinding. It is destroyed, so its customer must wish so.

    Masses are text in grams as the scale shows them; what they do not add up to is posted as a
    count difference. Answers `bad-input` without the wish, the grading or a plastic that is ours,
    for a heap that the owner's table keeps out of its box, and for an implausible gap without a
    reason; `stale-state` when the frame is not to be stripped.
    """

    body_class = StripBody

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        kept = tuple(Salvaged(**one) for one in data["salvaged"])
        heaps = tuple(
            Heap(of=tuple(one["of"]), into=one["into"], mass=one["mass"], field=f"heaps.{at}")
            for at, one in enumerate(data["heaps"])
        )
        parts = StripDown(**(data | {"salvaged": kept, "heaps": heaps}))
        return stripdown.strip(
            key=self.action_key, frame=self.frame(), parts=parts, at=self.at, by=self.by
        )


class StripDownReversals(FrameAction):
    """Take a strip-down back while its box is as it left it: the frame is to be stripped again.

    Answers `bad-input` without a reason, `stale-state` once the frame is ground or when it was
    never boxed, and `conflict` when box, parts or frame were touched since.
    """

    body_class = ReasonBody

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        return stripdown.undo(
            key=self.action_key, frame=self.frame(), at=self.at, by=self.by, **data
        )


class Discards(FrameAction):
    """Discard a frame that is not surely of our polymer: its mass ends as foreign waste.

    Answers `bad-input` without a reason or the customer's wish, and `stale-state` when the frame is
    neither to be stripped nor held as not ours.
    """

    body_class = ReasonBody

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        return stripdown.discard_foreign(
            key=self.action_key, frame=self.frame(), at=self.at, by=self.by, **data
        )


class DispatchBody(Body):
    """A frame that goes back as it is may be weighed once more."""

    scanned = Scanned(help_text="The tag of the frame: its code, or the link in its QR code.")
    scale = ScaleName(required=False, allow_null=True)
    mass = _mass_or_none()
    reason = serializers.CharField(max_length=200, allow_blank=True, default="")


class DispatchAnswer(serializers.Serializer[Dispatch]):
    code = serializers.CharField()
    kind = serializers.CharField()
    frame = Code(by="tag", allow_null=True)
    request = Code(by="reference", allow_null=True)
    posted_at = Moment(allow_null=True)
    at_counter = serializers.BooleanField(help_text="Handed over there, instead of posted.")


class Dispatches(FrameAction):
    """Post a frame, mended or as it is.

    One that goes back as it is may be weighed once more: send `scale` and `mass`, text in grams.
    Answers `bad-input` for a mass that cannot be read or differs without a reason, and `stale-
    state` when the frame is not to be posted.
    """

    body_class = DispatchBody
    made_class = DispatchAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> Dispatch:
        return posting_out.post_frame(
            key=self.action_key, frame=self.frame(), at=self.at, by=self.by, **data
        )


class LensDispatchBody(Body):
    scanned = Scanned(help_text="The tag that is with the lenses.")


class LensDispatches(FrameAction):
    """Post the lenses of a stripped frame back to their wearer.

    Answers `stale-state` when no lenses of this frame wait.
    """

    body_class = LensDispatchBody
    made_class = DispatchAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> Dispatch:
        return posting_out.post_lenses(
            key=self.action_key, frame=self.frame(), at=self.at, by=self.by, **data
        )


class HandOverBody(Body):
    scanned = Scanned(help_text="The tag that was on what is handed over.")


class Collections(FrameAction):
    """Hand a frame over at the counter, mended or as it is, instead of posting it.

    Answers `stale-state` when the frame is not to leave, `wrong-scan` for another frame's tag.
    """

    body_class = HandOverBody
    made_class = DispatchAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> Dispatch:
        return posting_out.hand_over_frame(
            key=self.action_key, frame=self.frame(), at=self.at, by=self.by, **data
        )


class LensCollections(FrameAction):
    """Hand the lenses of a stripped frame over at the counter, instead of posting them.

    Answers `stale-state` when no lenses of this frame wait.
    """

    body_class = HandOverBody
    made_class = DispatchAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> Dispatch:
        return posting_out.hand_over_lenses(
            key=self.action_key, frame=self.frame(), at=self.at, by=self.by, **data
        )
