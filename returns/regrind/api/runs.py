"""Grind runs: proposed by one, confirmed at the box by another, weighed out, explained."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from inventory.furniture.api import filters
from inventory.furniture.api.shapes import (
    Body,
    Code,
    KnownCode,
    KnownTogether,
    Moment,
    ScaleName,
    Scanned,
    TypedMass,
    found,
)
from inventory.furniture.api.views import ActionView, Detail, Listing
from inventory.material.rules import grinding
from inventory.material.rules.grinding import MINUTES_MAX, GrindOut
from inventory.models import GrindRun, Place
from inventory.weighing.queries import traced
from returns.regrind.rules import regrind

# Beyond this a number in JSON is no longer exact in every program that reads it.
MASS_MG_MAX = 2**53
MELT_FLOW_MAX = 1_000_000


class RunFilter(filters.FilterSet):
    state = filters.ChoiceFilter(choices=GrindRun.State.choices)
    box = filters.CharFilter(field_name="box__code", max_length=60)


class RunAnswer(serializers.Serializer[GrindRun]):
    code = serializers.CharField()
    state = serializers.CharField()
    box = Code()
    box_mg = serializers.IntegerField()
    known = KnownTogether(ask=traced.of_runs, by="code")
    proposed_by = Code(by="username")
    proposed_at = Moment()
    confirmed_by = Code(by="username", allow_null=True)
    confirmed_at = Moment(allow_null=True)
    minutes = serializers.IntegerField()
    colour_change = serializers.BooleanField()
    held_for = serializers.CharField()
    explanation = serializers.CharField()
    finished_at = Moment(allow_null=True)
    lot = Code(allow_null=True)


class ProposeBody(Body):
    box = KnownCode(Place.objects.all)


class Runs(ActionView, Listing):
    """GET lists the grind runs, newest first; POST proposes one for what is in a box now.

    Masses are in mg. POST answers `bad-input` for a place that is no box or is empty, and
    `conflict` while another run of that box is open.
    """

    scope = "bench"
    read_scope = "read"
    serializer_class = RunAnswer
    filterset_class = RunFilter
    queryset = GrindRun.objects.select_related("box", "proposed_by", "confirmed_by", "lot")
    body_class = ProposeBody
    made_class = RunAnswer

    def perform(self, data: dict[str, Any]) -> GrindRun:
        return grinding.propose(key=self.action_key, box=data["box"], at=self.at, by=self.by)


class OneRun(Detail):
    """Show one grind run with what went in and came out, in mg.

    Answers `not-found` for another code.
    """

    scope = "read"
    answer_class = RunAnswer

    def instance(self) -> GrindRun:
        run: GrindRun = found(Runs.queryset.all(), code=self.kwargs["code"])
        return run


class RunAction(ActionView):
    """An action on one run."""

    scope = "bench"
    made_class = RunAnswer
    made_status = 200

    def run(self) -> GrindRun:
        run: GrindRun = found(Runs.queryset.all(), code=self.kwargs["code"])
        return run


class ConfirmBody(Body):
    seen_mg = serializers.IntegerField(
        min_value=0, max_value=MASS_MG_MAX, help_text="`box_mg` as it was shown at the box."
    )
    scanned = Scanned(help_text="The label of the box: its code, or the link in its QR code.")


class Confirmations(RunAction):
    """Confirm a run as the second person who has scanned the label of the box.

    `seen_mg` is the mass that was shown, in mg. Answers `second-person-needed` to the one who
    proposed it, `wrong-scan` to the label of another box, `box-changed` when the box is not as
    proposed, and `stale-state` when the run does not wait for it.
    """

    body_class = ConfirmBody

    def perform(self, data: dict[str, Any]) -> GrindRun:
        return grinding.confirm(key=self.action_key, run=self.run(), at=self.at, by=self.by, **data)


class Cancellations(RunAction):
    """Cancel a run before anything was ground; the box is left as it is.

    Answers `stale-state` when it has been ground.
    """

    def perform(self, _data: dict[str, Any]) -> GrindRun:
        return grinding.cancel(key=self.action_key, run=self.run(), at=self.at, by=self.by)


class OutBody(Body):
    """Each mass as typed; left empty or 0 where there was none."""

    scale = ScaleName()
    flake = TypedMass()
    dust = TypedMass(allow_blank=True, default="")
    purge = TypedMass(allow_blank=True, default="")
    moisture = TypedMass(allow_blank=True, default="")
    minutes = serializers.IntegerField(min_value=1, max_value=MINUTES_MAX)
    colour_change = serializers.BooleanField(default=False)
    fine_scale = ScaleName(required=False, allow_null=True)
    melt_flow_mg_per_10min = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MELT_FLOW_MAX
    )
    melt_flow_tolerance_mg = serializers.IntegerField(
        required=False, allow_null=True, min_value=0, max_value=MELT_FLOW_MAX
    )


class RunWeighOuts(RunAction):
    """Weigh out what a confirmed run gave: flake, dust, purge and moisture.

    Masses are text in grams as the scale shows them, melt flow is in mg per 10 minutes. Implausible
    figures hold the run: nothing is posted until they are explained or weighed again. Answers `bad-
    input` for a mass that cannot be read, and `stale-state` when the run is not to be weighed.
    """

    body_class = OutBody

    def perform(self, data: dict[str, Any]) -> GrindRun:
        return regrind.finish(
            key=self.action_key, run=self.run(), out=GrindOut(**data), at=self.at, by=self.by
        )


class ExplainBody(Body):
    explanation = serializers.CharField(max_length=200)


class Explanations(RunAction):
    """Explain a held run's figures; the run is then posted as it was weighed.

    Answers `bad-input` without an explanation, and `stale-state` when the run is not held.
    """

    body_class = ExplainBody

    def perform(self, data: dict[str, Any]) -> GrindRun:
        return regrind.explain(key=self.action_key, run=self.run(), at=self.at, by=self.by, **data)
