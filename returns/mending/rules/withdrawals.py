"""Taking back what was noted by mistake: a failed check, or a step, while it is fresh.

The history keeps both, what was noted and its withdrawal with the reason; what a step moved in the
books is reversed.
"""

from __future__ import annotations

import uuid
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.ledger.rules import ledger
from inventory.models import Event, Movement
from returns.mending.rules import blaming, mending
from returns.models import BenchCheck, JobStep, Policy, RepairJob

if TYPE_CHECKING:
    from django.contrib.auth.models import User

REASON_LENGTH_MAX = 200


@events.rule(
    "mending.withdraw_check",
    facts=lambda job, check, reason: [job.pk, check.pk, reason.strip()],
    again=lambda check: BenchCheck.objects.get(pk=check.pk),
)
def withdraw_check(
    event: Draft,
    /,
    *,
    key: UUID,
    job: RepairJob,
    check: BenchCheck,
    reason: str,
    at: datetime,
    by: User,
) -> BenchCheck:
    """Withdraw a failed check that was noted by mistake, and take its verdicts back.

    Raises BadInput without a reason, StaleState once something was done on it, when it passed, or
    when the owner's time for it is over.
    """
    mending.refuse_not_open(job)
    _refuse_without_reason(reason)
    standing = blaming.standing_check(job)
    if standing is None or standing.pk != check.pk or standing.passed:
        raise StaleState(_("Only the last check can be withdrawn, and only one that failed."))
    _refuse_late(check.at, at)
    if blaming.steps_since(job, check):
        raise StaleState(_("A step was done after this check. It stands."))
    # Without a condition, for the job's row is held since the first line: nobody else can be here.
    BenchCheck.objects.filter(pk=check.pk).update(withdrawn_at=at, withdrawn_because=reason.strip())
    # The event remembers each verdict as it was before this check, among them shared ones.
    noted = Event.objects.get(name="mending.check", detail__check=check.pk)
    for pk, worked, shared in noted.detail.get("judged", []):
        JobStep.objects.filter(pk=pk).update(worked=worked, shared_check=shared)
    event.of(job.frame.tag, check=check.pk, reason=reason.strip())
    return BenchCheck.objects.get(pk=check.pk)


@events.rule(
    "mending.withdraw_step",
    facts=lambda job, step, reason: [job.pk, step.pk, reason.strip()],
    again=lambda step: JobStep.objects.get(pk=step.pk),
)
def withdraw_step(
    event: Draft,
    /,
    *,
    key: UUID,
    job: RepairJob,
    step: JobStep,
    reason: str,
    at: datetime,
    by: User,
) -> JobStep:
    """Withdraw a step that was noted by mistake: what it moved is reversed, and it is to do again.

    Raises BadInput without a reason, StaleState once a check has judged it or the owner's time for
    it is over.
    """
    mending.refuse_not_open(job)
    _refuse_without_reason(reason)
    noted = job.steps.filter(pk=step.pk, worked=None, withdrawn_at=None).exclude(done_at=None)
    done_at = noted.values_list("done_at", flat=True).first()
    if done_at is None:
        raise StaleState(_("Only a step that is done and not yet checked can be withdrawn."))
    _refuse_late(done_at, at)
    if noted.update(withdrawn_at=at, withdrawn_because=reason.strip()) != 1:
        raise StaleState()
    # Each reversal has a key of its own, made from the action's and the movement's number: a repeat
    # finds it and posts nothing.
    numbers = [
        ledger.reverse(
            key=uuid.uuid5(key, str(movement.number)),
            movement=movement,
            reason=reason,
            at=at,
            actor=by,
        ).number
        for movement in _moved(job, step)
    ]
    # The withdrawn row stays as history, so the plan needs a fresh one.
    JobStep.objects.create(job=job, remedy=step.remedy, component=step.component)
    mending.renew_promises(job, at)
    event.of(job.frame.tag, step=step.pk, movements=numbers, reason=reason.strip())
    return JobStep.objects.get(pk=step.pk)


def is_fresh(noted_at: datetime, now: datetime) -> bool:
    """Whether what was noted then may still be withdrawn."""
    return now - noted_at <= timedelta(minutes=Policy.the().withdraw_minutes)


def _refuse_late(noted_at: datetime, at: datetime) -> None:
    if not is_fresh(noted_at, at):
        raise StaleState(
            _("It was noted more than %(minutes)s minutes ago, so it stands.")
            % {"minutes": Policy.the().withdraw_minutes}
        )


def _refuse_without_reason(reason: str) -> None:
    if not 1 <= len(reason.strip()) <= REASON_LENGTH_MAX:
        raise BadInput(
            _("Say why, in up to %(max)s characters.") % {"max": REASON_LENGTH_MAX}, field="reason"
        )


def _moved(job: RepairJob, step: JobStep) -> list[Movement]:
    """What the step moved, the last first."""
    # In the opposite order, for no place may go below zero on the way back.
    noted = Event.objects.get(subject=job.frame.tag, name="mending.do_step", detail__step=step.pk)
    return list(Movement.objects.filter(number__in=noted.detail["movements"]).order_by("-number"))
