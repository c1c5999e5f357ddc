"""The end of a repair in one go: the last step, the bench check, the weigh-out."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.errors import BadInput, raise_all
from inventory.models import Event, Scale
from inventory.weighing import rules as weighing
from returns.bench.queries.frames import refuse_older
from returns.mending.rules import mending
from returns.mending.rules.mending import Check
from returns.models import BenchCheck, JobStep, RepairJob

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@dataclass(frozen=True, slots=True, kw_only=True)
class LastStep:
    """The step that was left, as `mending.do_step` takes it."""

    step: JobStep
    minutes: int
    parts_used: Mapping[str, int] = field(default_factory=dict)
    scanned: Sequence[str] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Ending:
    """What the hand says at the end. `blamed` may be the last step itself. The weighing counts only
    where all four lines of the check hold."""

    check: Check
    last: LastStep | None = None
    blamed: JobStep | None = None
    nobody_can_tell: bool = False
    scale: Scale | None = None
    mass: str = ""
    reason: str = ""


@transaction.atomic
def finish(
    *,
    key: UUID,
    job: RepairJob,
    ending: Ending,
    at: datetime,
    by: User,
    seen_version: int | None = None,
) -> BenchCheck:
    """Note the last step, the check after it, and where that passed the weigh-out: all or nothing.

    Raises what the three rules raise; a mass that cannot be read comes in one round with what is
    wrong with the step.
    """
    # The first deed changes the version, so it is asked once, here; a repeat has its answer.
    if not Event.objects.filter(key=key).exists():
        mending.refuse_not_open(job)
        refuse_older(job.frame.tag, seen_version)
    faults = _bad_mass(ending)
    done = None
    try:
        done = _do(key, job, ending.last, at, by)
    except BadInput as fault:
        faults.insert(0, fault)
    raise_all(faults)
    blames_last = ending.last is not None and ending.blamed == ending.last.step
    row = mending.check(
        key=key,
        job=job,
        check=ending.check,
        blamed=done if blames_last else ending.blamed,
        nobody_can_tell=ending.nobody_can_tell,
        at=at,
        by=by,
    )
    if row.passed and ending.scale is not None:
        mending.weigh_out(
            key=uuid.uuid5(key, "weigh-out"),
            job=RepairJob.objects.select_related("frame").get(pk=job.pk),
            scale=ending.scale,
            mass=ending.mass,
            reason=ending.reason,
            at=at,
            by=by,
        )
    return row


def _do(key: UUID, job: RepairJob, last: LastStep | None, at: datetime, by: User) -> JobStep | None:
    if last is None:
        return None
    # In a savepoint: what is wrong with the step must not spoil the look at the mass.
    with transaction.atomic():
        return mending.do_step(
            key=uuid.uuid5(key, "step"),
            job=job,
            step=last.step,
            minutes=last.minutes,
            parts_used=last.parts_used,
            scanned=last.scanned,
            at=at,
            by=by,
        )


def _bad_mass(ending: Ending) -> list[BadInput]:
    if not ending.check.passed:
        return []
    if ending.scale is None:
        return [BadInput(_("Choose the scale that showed this mass."), field="scale")]
    try:
        weighing.parse(scale=ending.scale, typed=ending.mass, field="mass")
    except BadInput as fault:
        return [fault]
    return []
