"""Mending a frame: its open job, step by step, to the bench check and the scale.

A step is named by its remedy and component; of several tries the one still to do is meant.
"""

from __future__ import annotations

from typing import Any, ClassVar

from django.utils.translation import gettext as _
from rest_framework import serializers
from rest_framework.serializers import BaseSerializer

from inventory.errors import NotFound
from inventory.furniture.api.shapes import (
    Body,
    Code,
    KnownCode,
    Moment,
    ScaleName,
    Scanned,
    TypedMass,
)
from inventory.models import Part
from returns.grading.api import (
    FrameAction,
    FrameRow,
    JobAnswer,
    ReasonBody,
    StepAnswer,
    VersionBody,
)
from returns.mending.rules import mending, withdrawals
from returns.mending.rules.fitting import PIECES_MAX
from returns.mending.rules.mending import MINUTES_MAX
from returns.models import BenchCheck, JobStep, Remedy, RepairJob, ReturnedFrame


class JobAction(FrameAction):
    """An action on the frame's latest job."""

    made_class: ClassVar[type[BaseSerializer[Any]]] = JobAnswer

    def job(self) -> RepairJob:
        job = self.frame().jobs.order_by("-opened_at", "-pk").first()
        if job is None:
            raise NotFound(_("This frame has no repair job. Open one first."))
        return job

    def step(self, data: dict[str, Any]) -> JobStep:
        rows = self.job().steps.filter(remedy=data["remedy"], component=data["component"])
        # A caller knows remedies and not our numbers. Of several tries the open one is meant, else
        # the last.
        step = rows.filter(done_at=None).first() or rows.order_by("-pk").first()
        if step is None:
            raise NotFound(_("This job has no such step."))
        return step


class Jobs(FrameAction):
    """Start to mend a frame: it comes to the bench, and the plan of its grading becomes steps.

    Answers `bad-input` without a grading, and `stale-state` when the frame is not to be mended.
    """

    made_class = JobAnswer
    made_status = 201

    def perform(self, _data: dict[str, Any]) -> RepairJob:
        return mending.open_job(key=self.action_key, frame=self.frame(), at=self.at, by=self.by)


class StepBody(Body):
    remedy = KnownCode(Remedy.objects.all, by="key")
    component = serializers.CharField(max_length=20)


class Additions(JobAction):
    """Add a step to the frame's repair job, because more turned out to be needed.

    Answers `not-found` when the frame has no job, `bad-input` for a part that it does not have, and
    `stale-state` when the job is over.
    """

    body_class = StepBody
    made_class = StepAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> JobStep:
        return mending.add_step(key=self.action_key, job=self.job(), at=self.at, by=self.by, **data)


class Removals(JobAction):
    """Take a step off the frame's repair job before it was done.

    Answers `not-found` for a job or step that is not there, and `stale-state` when the step is
    done.
    """

    body_class = StepBody

    def perform(self, data: dict[str, Any]) -> RepairJob:
        return mending.drop_step(
            key=self.action_key, job=self.job(), step=self.step(data), at=self.at, by=self.by
        )


class UsedBody(Body):
    part = KnownCode(Part.objects.all)
    pieces = serializers.IntegerField(min_value=1, max_value=PIECES_MAX)


class DoneBody(StepBody):
    minutes = serializers.IntegerField(min_value=1, max_value=MINUTES_MAX)
    parts = serializers.ListSerializer[Any](child=UsedBody(), max_length=20, default=list)
    scanned = serializers.ListField(
        child=Scanned(),
        max_length=20,
        default=list,
        help_text="The label of each bin that these parts came from.",
    )


class Steps(JobAction):
    """Note a step as done, with its minutes and the pieces of each part that it used.

    A step that failed its check is done anew as a step of its own. Answers `not-found` for a job or
    step that is not there, `not-enough` when the bin's free pieces do not suffice, and `stale-
    state` when the step is done already.
    """

    body_class = DoneBody
    made_class = StepAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> JobStep:
        return mending.do_step(
            key=self.action_key,
            job=self.job(),
            step=self.step(data),
            minutes=data["minutes"],
            parts_used={used["part"].code: used["pieces"] for used in data["parts"]},
            scanned=data["scanned"],
            at=self.at,
            by=self.by,
        )


class CheckBody(VersionBody):
    closes_freely = serializers.BooleanField()
    screw_flush = serializers.BooleanField()
    lens_held = serializers.BooleanField()
    no_sharp_edge = serializers.BooleanField()
    failed_step = StepBody(
        required=False,
        allow_null=True,
        help_text="Where one does not hold: the step that failed, or leave it out.",
    )
    nobody_can_tell = serializers.BooleanField(
        default=False, help_text="Where one does not hold and nobody can tell which step it was."
    )


class StepName(serializers.Serializer[JobStep]):
    remedy = Code(by="key")
    component = serializers.CharField()


class CheckAnswer(serializers.Serializer[BenchCheck]):
    passed = serializers.BooleanField()
    closes_freely = serializers.BooleanField()
    screw_flush = serializers.BooleanField()
    lens_held = serializers.BooleanField()
    no_sharp_edge = serializers.BooleanField()
    failed_step = StepName(source="blamed", allow_null=True)
    at = Moment()


class Checks(JobAction):
    """Enter the bench check after a repair. All four points must hold for the frame to pass.

    After a check that fails the frame stays on the bench, and `failed_step` is to be done anew, or
    another step in its place, before the next check. Answers `bad-input` while a step is still to
    be done, or when a failure names no step and does not say that nobody can tell; `stale-state`
    when the job is over, or when the frame has changed since `version`.
    """

    body_class = CheckBody
    made_class = CheckAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> BenchCheck:
        named = data.get("failed_step")
        answers = {name: data[name] for name in mending.Check.__dataclass_fields__}
        return mending.check(
            key=self.action_key,
            job=self.job(),
            check=mending.Check(**answers),
            blamed=self.step(named) if named else None,
            nobody_can_tell=data["nobody_can_tell"],
            seen_version=data["version"],
            at=self.at,
            by=self.by,
        )


class CheckWithdrawals(JobAction):
    """Withdraw the last bench check, which failed and was noted by mistake; its verdicts go.

    Answers `bad-input` without a reason, and `stale-state` once something was done after it, when
    it passed, or when the owner's minutes for it are over.
    """

    body_class = ReasonBody
    made_class = CheckAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> BenchCheck:
        job = self.job()
        check = job.checks.order_by("-pk").first()
        if check is None:
            raise NotFound(_("This job has no bench check."))
        return withdrawals.withdraw_check(
            key=self.action_key, job=job, check=check, at=self.at, by=self.by, **data
        )


class StepReasonBody(StepBody):
    reason = serializers.CharField(max_length=200)


class StepWithdrawals(JobAction):
    """Withdraw a step that was noted as done by mistake: what it moved is reversed.

    Answers `bad-input` without a reason, and `stale-state` once a check has judged the step or the
    owner's minutes for it are over.
    """

    body_class = StepReasonBody
    made_class = StepAnswer
    made_status = 201

    def perform(self, data: dict[str, Any]) -> JobStep:
        rows = self.job().steps.filter(remedy=data["remedy"], component=data["component"])
        step = rows.exclude(done_at=None).order_by("-pk").first()
        if step is None:
            raise NotFound(_("This job has no such step."))
        return withdrawals.withdraw_step(
            key=self.action_key,
            job=step.job,
            step=step,
            reason=data["reason"],
            at=self.at,
            by=self.by,
        )


class GivingUp(JobAction):
    """Give a repair up. What comes next is the customer's wish; without one the frame goes back.

    Answers `not-found` without a job, `bad-input` without a reason, and `stale-state` when the job
    is over.
    """

    body_class = ReasonBody
    made_class = FrameRow

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        return mending.give_up(key=self.action_key, job=self.job(), at=self.at, by=self.by, **data)


class WeighOutBody(Body):
    scale = ScaleName()
    mass = TypedMass()
    reason = serializers.CharField(max_length=200, allow_blank=True, default="")


class WeighOuts(JobAction):
    """Weigh the mended frame; it is then ready to be posted.

    The mass is text in grams as the scale shows it; what the books got wrong is posted as a count
    difference. Answers `bad-input` for an implausible difference without a reason, and `stale-
    state` before the check has passed.
    """

    body_class = WeighOutBody
    made_class = FrameRow

    def perform(self, data: dict[str, Any]) -> ReturnedFrame:
        return mending.weigh_out(
            key=self.action_key, job=self.job(), at=self.at, by=self.by, **data
        )
