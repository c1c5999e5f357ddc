"""Repair jobs: opened from the plan of a grading, done step by step, checked, weighed out."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState
from inventory.events import Draft
from inventory.ledger.queries import balances
from inventory.ledger.rules import carrying, ledger, places, scans
from inventory.models import Event, Part, PlaceKind, Reading, Scale
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from inventory.weighing import rules as weighing
from returns.arriving.queries.frame_masses import limit_mg, on_bench_mg, refuse_gap
from returns.asking import queries as asking
from returns.bench.queries.frames import refuse_older
from returns.catalogue import queries as catalogue
from returns.letters import rules as letters
from returns.mending.rules import blaming, fitting
from returns.models import BenchCheck, Grading, JobStep, Remedy, RepairJob, ReturnedFrame
from returns.models.catalogue import ComponentKey, ComponentKind
from returns.models.filing import Wish
from returns.models.remedies import Method
from returns.story.rules import advance, again
from returns.story.sums.states import FrameState

if TYPE_CHECKING:
    from django.contrib.auth.models import User

MINUTES_MAX: Final = 480
State = RepairJob.State


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """The four questions of the bench check; all must be answered yes."""

    closes_freely: bool
    screw_flush: bool
    lens_held: bool
    no_sharp_edge: bool

    @property
    def passed(self) -> bool:
        """Whether the frame may go back to its wearer."""
        return all(asdict(self).values())

    def judges(self, kind: str, method: str) -> bool:
        """Whether a remedy on a component of this kind worked, as far as the check can tell."""
        # A question tells only of what it looks at: a lens that falls out says nothing of a screw.
        # Any other kind, such as the front, answers for lens and edge.
        asked = {
            ComponentKind.SCREW: (self.closes_freely, self.screw_flush),
            ComponentKind.ARM: (self.closes_freely, self.no_sharp_edge),
            ComponentKind.LENS: (self.lens_held,),
        }.get(ComponentKind(kind), (self.lens_held, self.no_sharp_edge))
        return all(asked) and (method != Method.STEP_UP or self.screw_flush)


def _step(event: Event) -> JobStep:
    return JobStep.objects.get(pk=event.detail["step"])


def _frame(job: RepairJob) -> ReturnedFrame:
    return again(job.frame)


@events.rule(
    "mending.open_job",
    facts=lambda frame: [frame.tag],
    again=lambda event: RepairJob.objects.get(pk=event.detail["job"]),
)
def open_job(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, at: datetime, by: User
) -> RepairJob:
    """Start mending: the frame comes to the bench, and the plan of its grading becomes steps."""
    grading = frame.gradings.order_by("-at", "-pk").first()
    if grading is None:
        raise BadInput(_("Look the frame over first: it has no grading."), field="frame")
    # First of all writes: the state lets one of two hands in, and no frame has two open jobs.
    advance(frame, FrameState.MENDING)
    carrying.carry(key=key, subject=frame.tag, to=PlaceKind.BENCH, at=at, actor=by)
    job = RepairJob.objects.create(frame=frame, grading=grading, opened_at=at, opened_by=by)
    JobStep.objects.bulk_create(_planned(job, grading))
    event.of(frame.tag, job=job.pk)
    return job


@events.rule(
    "mending.add_step",
    facts=lambda job, remedy, component: [job.pk, remedy.key, component],
    again=_step,
)
def add_step(
    event: Draft,
    /,
    *,
    key: UUID,
    job: RepairJob,
    remedy: Remedy,
    component: str,
    at: datetime,
    by: User,
) -> JobStep:
    """Add a step to an open job, because something more turned out to be needed.

    Raises BadInput for an unknown component, StaleState when the job is over.
    """
    refuse_not_open(job)
    if component not in ComponentKey.values:
        raise BadInput(_("Choose the component that is mended."), field="component")
    step = JobStep.objects.create(job=job, remedy=remedy, component=component)
    event.of(job.frame.tag, step=step.pk)
    return step


@events.rule("mending.drop_step", facts=lambda job, step: [job.pk, step.pk], again=lambda job: job)
def drop_step(
    event: Draft, /, *, key: UUID, job: RepairJob, step: JobStep, at: datetime, by: User
) -> RepairJob:
    """Take off a planned step that turned out not to be needed, before it was done.

    Raises StaleState when it was done, or when the job is over.
    """
    refuse_not_open(job)
    # The condition is in the deletion: a step that the other hand has just done has moved mass and
    # stays.
    if job.steps.filter(pk=step.pk, done_at=None).delete()[0] != 1:
        raise StaleState()
    event.of(job.frame.tag, step=step.pk)
    return job


@events.rule(
    "mending.do_step",
    facts=lambda job, step, minutes, parts_used: [job.pk, step.pk, minutes, dict(parts_used)],
    again=_step,
    aside=["scanned"],
)
def do_step(
    event: Draft,
    /,
    *,
    key: UUID,
    job: RepairJob,
    step: JobStep,
    minutes: int,
    parts_used: Mapping[str, int],
    at: datetime,
    by: User,
    scanned: Sequence[str] = (),
) -> JobStep:
    """Note a step as done, with its minutes and parts. `scanned` are the labels of the bins that
    the parts came from; a step without parts needs none. A step that failed is done anew as a
    step of its own, so that the first try keeps its verdict.

    Raises WrongScan for the label of any other bin, NotEnough when the bin's free pieces do not
    suffice, StaleState when it was done.
    """
    refuse_not_open(job)
    if not 1 <= minutes <= MINUTES_MAX:
        raise BadInput(_("Write the minutes that it took, from 1 to 480."), field="minutes")
    parts = fitting.named(parts_used)
    # Before anything is written: the wrong bin would make two balances wrong at once.
    scans.require(scanned, [places.bin_of(part) for part in parts])
    target = _next_try(job, step)
    # The step is claimed first and the parts posted after: of two hands only one takes parts from
    # the bin.
    changed = JobStep.objects.filter(pk=target.pk, job=job, done_at=None)
    if changed.update(done_at=at, minutes=minutes, parts_used=dict(parts_used)) != 1:
        raise StaleState()
    movements = fitting.fit(key=key, step=target, parts=parts, at=at, by=by)
    # The pieces have left their bin, so their promise is used up; what later steps need stays
    # promised.
    renew_promises(job, at)
    numbers = [movement.number for movement in movements]
    event.of(job.frame.tag, step=target.pk, movements=numbers)
    return JobStep.objects.get(pk=target.pk)


@events.rule(
    "mending.check",
    facts=lambda job, check, blamed, nobody_can_tell: [
        job.pk,
        asdict(check),
        blamed.pk if blamed else nobody_can_tell,
    ],
    again=lambda event: BenchCheck.objects.get(pk=event.detail["check"]),
    aside=("seen_version",),
)
def check(
    event: Draft,
    /,
    *,
    key: UUID,
    job: RepairJob,
    check: Check,
    at: datetime,
    by: User,
    blamed: JobStep | None = None,
    nobody_can_tell: bool = False,
    seen_version: int | None = None,
) -> BenchCheck:
    """Note the check after repair. Passed, the frame is ready to be weighed out; failed, it stays
    on the bench, and `blamed` is the step that did not hold, unless nobody can tell.

    Raises BadInput without that word, while a step is undone, or before something was done about
    the last failure; StaleState when the job is over or the frame has changed since it was seen.
    """
    refuse_not_open(job)
    refuse_older(job.frame.tag, seen_version)
    # Judged is what is on the frame now; a step still to do would be judged before it happened.
    _refuse_undone(job)
    blaming.refuse_not_redone(job)
    live = blaming.live_steps(job)
    blaming.refuse_bad_blame(check, live, blamed, nobody_can_tell=nobody_can_tell)
    # What stood before the verdicts goes into the event: a withdrawn check puts it back from there.
    row = BenchCheck.objects.create(job=job, at=at, by=by, blamed=blamed, **asdict(check))
    judged = blaming.judge(row, check, live)
    if row.passed:
        _end(job, State.PASSED, at)
    event.of(job.frame.tag, check=row.pk, passed=row.passed, judged=judged)
    return row


@events.rule("mending.give_up", facts=lambda job, reason: [job.pk, reason.strip()], again=_frame)
def give_up(
    event: Draft, /, *, key: UUID, job: RepairJob, reason: str, at: datetime, by: User
) -> ReturnedFrame:
    """Give a job up. The customer's recorded wish says what comes next; without one the frame goes
    back as it is, for nothing may be destroyed unasked.

    Raises BadInput without a reason, StaleState when the job is over.
    """
    if not 1 <= len(reason.strip()) <= 200:
        raise BadInput(_("Say why in up to 200 characters."), field="reason")
    _end(job, State.ABANDONED, at)
    wants_regrind = job.frame.wish == Wish.REGRIND
    frame = advance(job.frame, FrameState.TO_STRIP if wants_regrind else FrameState.TO_RETURN)
    event.of(job.frame.tag, job=job.pk, next=str(frame.state), reason=reason.strip())
    return frame


@events.rule(
    "mending.weigh_out",
    facts=lambda job, scale, mass, reason: [job.pk, scale.pk, mass.strip(), reason.strip()],
    again=_frame,
)
def weigh_out(
    event: Draft,
    /,
    *,
    key: UUID,
    job: RepairJob,
    scale: Scale,
    mass: str,
    at: datetime,
    by: User,
    reason: str = "",
) -> ReturnedFrame:
    """Weigh the mended frame. What nominal part masses got wrong goes to the count difference,
    so that the bench holds for this tag what the scale shows.

    An implausible difference needs a reason. Raises StaleState before the check has passed.
    """
    # No lock: a job that has passed never opens again, and `advance` below lets one hand through.
    if not RepairJob.objects.filter(pk=job.pk, state=State.PASSED).exists():
        raise StaleState(_("Check the frame first; then weigh it out."))
    reading = weighing.read(scale=scale, typed=mass, at=at)
    settle_scale(key=key, frame=job.frame, reading=reading, reason=reason, at=at, by=by)
    frame = advance(job.frame, FrameState.MENDED)
    event.of(job.frame.tag, reading=reading.pk, mass_mg=reading.mass_mg)
    if frame.request is not None and frame.request.collects:
        letters.enqueue(letter="ready", request=frame.request, frame=frame, at=at)
    return frame


def settle_scale(
    *, key: UUID, frame: ReturnedFrame, reading: Reading, reason: str, at: datetime, by: User
) -> None:
    """Make the bench hold for this frame what the scale shows, by a count difference."""
    # Parts went in at their nominal mass and old ones came off so; the scale is the first to see
    # the whole.
    gap_mg = on_bench_mg(frame) - reading.mass_mg
    refuse_gap(gap_mg=gap_mg, limit_mg=limit_mg(frame.reading, [reading]), reason=reason)
    if gap_mg == 0:
        return
    # A quantity in the ledger is never negative: the direction carries the sign.
    bench, difference = places.mass(PlaceKind.BENCH), places.mass(PlaceKind.UNEXPLAINED)
    source, target = (bench, difference) if gap_mg > 0 else (difference, bench)
    ledger.post(
        key=uuid.uuid5(key, "weigh-out"),
        kind="post_frame",
        lines=[ledger.Line(source, target, abs(gap_mg), reading)],
        happened_at=at,
        story=ledger.Story(subject=frame.tag, actor=by, reason=reason.strip()),
    )


def weighed_out(frame: ReturnedFrame) -> Reading | None:
    """Return the reading of the latest weigh-out, if there was one."""
    rows = Event.objects.filter(subject=frame.tag, name="mending.weigh_out").order_by("-pk")
    action = rows.first()
    return Reading.objects.get(pk=action.detail["reading"]) if action else None


def planned_steps(frame: ReturnedFrame) -> list[dict[str, Any]]:
    """Return what the latest grading would have the bench do, as kept; empty without a plan."""
    grading = frame.gradings.order_by("-at", "-pk").first()
    return _entries(grading) if grading else []


def expected_mass_mg(frame: ReturnedFrame) -> int:
    """Return what the scale should show, in mg: the ledger's mass of a frame in the house."""
    shelves = (PlaceKind.ARRIVALS, PlaceKind.HOLD, PlaceKind.BENCH)
    return sum(balances.held_mg(subject=frame.tag, kind=kind) for kind in shelves)


def planned_parts(step: JobStep) -> dict[str, int]:
    """Return part code to pieces for a step: as its grading planned, else as its remedy says."""
    # The plan as it was kept goes before the masters of today, for the promise was made for it.
    for entry in _entries(step.job.grading):
        if (entry["remedy"], entry["component"]) == (step.remedy.key, step.component):
            return dict(entry["parts"])
    own = _own_part(step)
    parts: dict[str, int] = {}
    for row in step.remedy.parts.select_related("part"):
        part = row.part or own
        if part is not None:
            parts[part.code] = parts.get(part.code, 0) + row.pieces
    return parts


def _own_part(step: JobStep) -> Part | None:
    colourway = step.job.frame.colourway
    if colourway is None:
        return None
    made = catalogue.bill_of(colourway).get(step.component)
    return made.piece.part if made else None


def _entries(grading: Grading) -> list[dict[str, Any]]:
    """What the grading's plan has the bench do, once each; empty without a plan."""
    plan = grading.sums.get("plan") or {}
    return plan["remedies"] if isinstance(plan, dict) and plan else []


def _planned(job: RepairJob, grading: Grading) -> list[JobStep]:
    """Steps of the chosen plan; a remedy that has left the list since is passed over."""
    plan = _entries(grading)
    remedies = Remedy.objects.in_bulk([entry["remedy"] for entry in plan], field_name="key")
    return [
        JobStep(job=job, remedy=remedies[entry["remedy"]], component=entry["component"])
        for entry in plan
        if entry["remedy"] in remedies
    ]


def renew_promises(job: RepairJob, at: datetime) -> None:
    """Keep promised to this frame only the parts of steps that are still to do."""
    tag = job.frame.tag
    # All promises are closed and those still wanted are made anew. Counting down single ones would
    # have to know which pieces a step took.
    stock.use(subject=tag)
    wanted: Counter[str] = Counter()
    for step in job.steps.filter(done_at=None).select_related("remedy", "job__grading"):
        wanted.update(planned_parts(step))
    # In the order of the codes, so that two jobs never wait for each other's bins.
    for part in Part.objects.filter(code__in=wanted).order_by("code"):
        # Promised is what there is. A lack shows when the step is done, and must not stop this one.
        pieces = min(wanted[part.code], part_stock.available(part))
        if pieces:
            stock.reserve(part=part, pieces=pieces, subject=tag, at=at)


def _next_try(job: RepairJob, step: JobStep) -> JobStep:
    """The step itself, or a fresh one when the bench check has judged it as failed."""
    if step.done_at is None or step.worked is not False:
        return step
    # The first try keeps its verdict: without it the odds of the remedy would look better than they
    # are.
    return JobStep.objects.create(job=job, remedy=step.remedy, component=step.component)


def refuse_not_open(job: RepairJob) -> None:
    """Refuse a job that has ended, and hold its row: two hands go one after the other.

    Raises StaleState, also while the frame waits for an answer of its customer.
    """
    # A write that changes nothing takes the row's lock on PostgreSQL; on SQLite the database's own
    # write lock serves.
    if RepairJob.objects.filter(pk=job.pk, state=State.OPEN).update(state=State.OPEN) != 1:
        raise StaleState(_("This repair job has ended."))
    asking.refuse_waiting(job.frame)


def _refuse_undone(job: RepairJob) -> None:
    if job.steps.filter(done_at=None).exists():
        raise BadInput(_("Do every step first, or take off those that are not needed."))


def _end(job: RepairJob, state: RepairJob.State, at: datetime) -> None:
    rows = RepairJob.objects.filter(pk=job.pk, state=State.OPEN)
    if rows.update(state=state, ended_at=at) != 1:
        raise StaleState()
    stock.release(subject=job.frame.tag)
