"""Audits of weigh-ins: draw a sample of a month, enter what it weighs again."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api import filters
from inventory.furniture.api.shapes import (
    Body,
    Code,
    Moment,
    ReadingKnown,
    ScaleName,
    TypedMass,
    found,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from returns.auditing import rules as auditing
from returns.auditing.rules import WeighedAgain
from returns.auditing.sums import AQLS
from returns.models import AuditedFrame, WeighAudit

TAG_MAX = 20


class AuditFilter(filters.FilterSet):
    state = filters.ChoiceFilter(choices=WeighAudit.State.choices)
    month = filters.CharFilter(max_length=7)


class AuditedFrameAnswer(serializers.Serializer[AuditedFrame]):
    """`limit_ug` is the largest difference that chance explains, in micrograms."""

    frame = Code(by="tag")
    mass_now_mg = serializers.IntegerField(source="reading.mass_mg", default=None, allow_null=True)
    mass_now_known = ReadingKnown(source="reading")
    difference_mg = serializers.IntegerField(allow_null=True)
    limit_ug = serializers.IntegerField(allow_null=True)
    verdict = serializers.CharField(help_text="agrees, differs, missing; empty while it waits.")


class AuditAnswer(serializers.Serializer[WeighAudit]):
    """Sorting the lot by the SHA-256 of "seed:tag" puts the sample first."""

    number = serializers.IntegerField(source="pk")
    month = serializers.CharField()
    quality_limit_percent = serializers.CharField(source="quality_limit")
    lot_tags = serializers.ListField(child=serializers.CharField())
    seed = serializers.CharField()
    accept = serializers.IntegerField(help_text="Most wrong ones with which the lot is accepted.")
    state = serializers.CharField()
    drawn_at = Moment()
    drawn_by = Code(by="username")
    judged_at = Moment(allow_null=True)
    judged_by = Code(by="username", allow_null=True)
    frames = AuditedFrameAnswer(many=True)


class DrawBody(Body):
    month = serializers.CharField(max_length=7)
    quality_limit_percent = serializers.ChoiceField(choices=AQLS, default="4.0")


class Audits(ActionView, Listing):
    """GET lists the audits of weigh-ins, newest first; POST draws a sample of one month's frames.

    Masses are in mg, the quality limit in percent. POST answers `bad-input` for a month without
    enough frames to draw from, and `stale-state` while an audit of that month is still open.
    """

    scope = "owner"
    read_scope = "read"
    serializer_class = AuditAnswer
    filterset_class = AuditFilter
    queryset = WeighAudit.objects.select_related("drawn_by", "judged_by").prefetch_related(
        "frames__frame__reading", "frames__reading"
    )
    body_class = DrawBody
    made_class = AuditAnswer

    def perform(self, data: dict[str, Any]) -> WeighAudit:
        return auditing.draw(
            key=self.action_key,
            month=data["month"],
            quality_limit=data["quality_limit_percent"],
            at=self.at,
            by=self.by,
        )


class OneAudit(Detail):
    """Show one audit: its lot, its plan, and each frame of the sample with its masses in mg.

    Answers `not-found` for a number that no audit has.
    """

    scope = "read"
    answer_class = AuditAnswer

    def instance(self) -> WeighAudit:
        audit: WeighAudit = found(Audits.queryset.all(), pk=str(self.kwargs["number"]))
        return audit


class MassAgain(Body):
    frame = serializers.CharField(max_length=TAG_MAX)
    mass = TypedMass(allow_blank=True, help_text="Empty when the frame is not there.")


class WeighBody(Body):
    scale = ScaleName()
    masses = MassAgain(many=True)


class AuditResults(ActionView):
    """Enter what the frames of the sample weigh now, and judge the whole lot by it, once.

    Masses are text in grams as the scale shows them. A frame left out, or with an empty mass,
    counts as wrong. Answers `bad-input` for a mass that cannot be read and for a frame outside the
    sample, and `stale-state` when the lot is judged already.
    """

    scope = "bench"
    body_class = WeighBody
    made_class = AuditAnswer
    made_status = 200

    def perform(self, data: dict[str, Any]) -> WeighAudit:
        typed = {one["frame"]: one["mass"] for one in data["masses"]}
        return auditing.weigh(
            key=self.action_key,
            audit=found(WeighAudit.objects.all(), pk=str(self.kwargs["number"])),
            again=WeighedAgain(data["scale"], typed),
            at=self.at,
            by=self.by,
        )
