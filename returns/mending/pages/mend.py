"""Mending one frame: the plan, its steps with parts and minutes, the check, the weigh-out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.views.decorators.http import require_POST, require_safe

from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm
from inventory.models import Part, Workshop
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing.queries import traced
from returns.arriving.pages import scales
from returns.bench.pages.attempts import done, focused, found, hand_facts
from returns.bench.pages.finding import frame_by
from returns.bench.queries.frames import version_of
from returns.grading.sums.facts import PPM
from returns.mending import queries
from returns.mending.pages.forms import (
    AddForm,
    CheckForm,
    EndingForm,
    GiveUpForm,
    StepForm,
    WeighOutForm,
    WithdrawCheckForm,
    WithdrawForm,
)
from returns.mending.rules import blaming, finishing, mending, withdrawals
from returns.models import BenchCheck, JobStep, Policy, RepairJob, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.story.sums.states import FrameState


@dataclass(frozen=True, slots=True)
class Action:
    """An action of this page: its form's name in the template, the form, the rule."""

    slot: str
    form: Callable[..., ActionForm]
    rule: Callable[..., Any]


ACTIONS: Final = {
    "add": Action("add_form", AddForm, mending.add_step),
    "check": Action("check_form", CheckForm, mending.check),
    "withdraw-check": Action("withdraw_check_form", WithdrawCheckForm, withdrawals.withdraw_check),
    "give-up": Action("give_up_form", GiveUpForm, mending.give_up),
    "weigh-out": Action("weigh_form", WeighOutForm, mending.weigh_out),
}
# One press for the last step, the check and the weigh-out; its form is built of the job.
FINISH: Final = "finish"


@require_safe
@allow(BENCH, OWNER)
def mend(request: StaffRequest, tag: str) -> HttpResponse:
    return _page(request, frame_by(tag))


@require_POST
@allow(BENCH, OWNER)
def open_job(request: StaffRequest, tag: str) -> HttpResponse:
    """Start the repair job."""
    frame, form = frame_by(tag), ActionForm(request.POST)
    if done(request, form, mending.open_job, frame=frame):
        return redirect("mend", frame.tag)
    return _page(request, frame, {"open_form": form})


@require_POST
@allow(BENCH, OWNER)
def act(request: StaffRequest, tag: str, action: str) -> HttpResponse:
    """Take one of the actions of an open job, or weigh the frame out."""
    frame = frame_by(tag)
    if action == FINISH:
        return _finish(request, frame)
    if action not in ACTIONS:
        raise NotFound()
    chosen, job = ACTIONS[action], _job(frame)
    form = CheckForm(job, request.POST) if action == "check" else chosen.form(request.POST)
    facts = _facts(form) if form.is_valid() else {}
    if done(request, form, chosen.rule, job=job, **facts):
        return _onward(request, frame, action)
    return _page(request, frame, {chosen.slot: form})


def _finish(request: StaffRequest, frame: ReturnedFrame) -> HttpResponse:
    """Take the last step, the check and the weigh-out in one press."""
    job = _job(frame)
    form = EndingForm(job, _last_of(job), request.POST, auto_id="end_%s")
    facts = {"ending": form.ending()} if form.is_valid() else {}
    if not done(request, form, finishing.finish, job=job, **facts):
        return _page(request, frame, {"ending_form": form})
    if form.ending().check.passed:
        return _onward(request, frame, "weigh-out")
    messages.warning(
        request, _t("The check did not hold: it is noted, and nothing was weighed out.")
    )
    return redirect("mend", frame.tag)


@require_POST
@allow(BENCH, OWNER)
def do_step(request: StaffRequest, tag: str, step: int) -> HttpResponse:
    """Note a step as done."""
    frame = frame_by(tag)
    job = _job(frame)
    row = found(job.steps.select_related("remedy", "job__frame", "job__grading"), pk=step)
    form = StepForm(row, request.POST)
    facts = form.facts() if form.is_valid() else {}
    if done(request, form, mending.do_step, job=job, **facts):
        return redirect("mend", frame.tag)
    return _page(request, frame, {"tried_step": form})


@require_POST
@allow(BENCH, OWNER)
def drop_step(request: StaffRequest, tag: str, step: int) -> HttpResponse:
    """Take a step off that is not needed."""
    frame, form = frame_by(tag), ActionForm(request.POST)
    job = _job(frame)
    if done(request, form, mending.drop_step, job=job, step=found(job.steps.all(), pk=step)):
        return redirect("mend", frame.tag)
    return _page(request, frame, {"open_form": form})


@require_POST
@allow(BENCH, OWNER)
def withdraw_step(request: StaffRequest, tag: str, step: int) -> HttpResponse:
    """A step was noted by mistake."""
    frame, form = frame_by(tag), WithdrawForm(request.POST)
    job = _job(frame)
    row = found(job.steps.select_related("remedy", "job__frame"), pk=step)
    facts = {"reason": form.cleaned_data["reason"]} if form.is_valid() else {}
    if done(request, form, withdrawals.withdraw_step, job=job, step=row, **facts):
        messages.success(request, _t("The step is withdrawn; its parts are back in their bins."))
        return redirect("mend", frame.tag)
    return _page(request, frame, {"open_form": form})


def _facts(form: ActionForm) -> dict[str, Any]:
    if isinstance(form, CheckForm):
        return form.facts()
    carried = ("key", "seen_version")
    return {name: data for name, data in form.cleaned_data.items() if name not in carried}


def _onward(request: StaffRequest, frame: ReturnedFrame, event: str) -> HttpResponse:
    now = ReturnedFrame.objects.get(pk=frame.pk)
    if event == "weigh-out":
        messages.success(request, _t("Weighed out. Next it is posted."))
        return redirect("post-frame", frame.tag)
    if event == "give-up":
        messages.info(request, _t("The repair job has ended."))
        return redirect("strip" if now.state == FrameState.TO_STRIP else "post-frame", frame.tag)
    return redirect("mend", frame.tag)


def _job(frame: ReturnedFrame) -> RepairJob:
    job = frame.jobs.select_related("frame", "grading").order_by("-opened_at", "-pk").first()
    if job is None:
        raise NotFound()
    return job


def _page(
    request: StaffRequest, frame: ReturnedFrame, tried: dict[str, Any] | None = None
) -> HttpResponse:
    tried = dict(tried or {})
    # Read before everything that the page shows: a change in between is refused, not overlooked.
    version = version_of(frame.tag)
    job = frame.jobs.order_by("-opened_at", "-pk").first()
    is_mending = frame.state == FrameState.MENDING and job is not None
    standing = blaming.standing_check(job) if is_mending and job is not None else None
    facts: dict[str, Any] = {
        "frame": frame,
        "job": job if is_mending else None,
        "is_waiting": frame.state == FrameState.TO_MEND,
        "is_passed": is_mending and job is not None and job.state == RepairJob.State.PASSED,
        "planned": mending.planned_steps(frame) if frame.state == FrameState.TO_MEND else [],
        "withdraw_minutes": Policy.the().withdraw_minutes,
        "expected_mg": mending.expected_mass_mg(frame),
        "known": traced.in_house(frame.tag),
        "open_form": ActionForm(auto_id="open_%s"),
        "add_form": AddForm(auto_id="add_%s"),
        "withdraw_check_form": _withdraw_check(standing),
        "give_up_form": GiveUpForm(auto_id="give_up_%s"),
        "weigh_form": WeighOutForm(auto_id="weigh_%s", initial=scales.last(request)),
        "check": standing,
        "blamed": _named(standing),
        "advice": _advice(standing),
    } | hand_facts(request, frame)
    again = tried.pop("tried_step", None)
    facts["steps"] = _steps(job, again) if is_mending and job else []
    if is_mending and job is not None:
        facts["ending_form"] = _ending(request, facts["steps"], job, version)
        again = _in_one(request, facts["ending_form"], again or tried.get("check_form")) or again
    facts["withdrawn"] = _withdrawn(job) if is_mending and job else []
    facts["refused"] = again or next(iter(tried.values()), None)
    if isinstance(again, EndingForm):
        tried["ending_form"] = again
    return render(
        request,
        "returns/workroom/mend.html",
        facts | tried,
        status=422 if facts["refused"] else 200,
    )


def _withdraw_check(standing: BenchCheck | None) -> WithdrawCheckForm | None:
    """The form that withdraws the last check, while that can be done."""
    if standing is None or standing.passed or not withdrawals.is_fresh(standing.at, timezone.now()):
        return None
    if blaming.steps_since(standing.job, standing):
        return None
    return WithdrawCheckForm(auto_id="withdraw_check_%s", initial={"check": standing.pk})


def _advice(standing: BenchCheck | None) -> dict[str, Any] | None:
    """What the sums advise after a failed check, until something was done about it."""
    if standing is None or standing.passed or blaming.steps_since(standing.job, standing):
        return None
    way = queries.advice(standing, blaming.live_steps(standing.job))
    if way is None:
        return None
    names = dict(ComponentKey.choices)
    found, give_up_minor = way.advice, round(way.advice.give_up_minor)
    return {
        "goes_on": found.goes_on and way.remedy is not None,
        "remedy": way.remedy,
        "component": names.get(way.component, way.component),
        "odds_ppm": round(found.odds * PPM),
        "go_on_minor": None if way.remedy is None else round(found.go_on_minor),
        "give_up_minor": give_up_minor,
        "currency": Workshop.the().currency,
    }


def _named(standing: BenchCheck | None) -> str:
    """The step that a failed check named, in words; empty where nobody could tell."""
    if standing is None or standing.blamed is None:
        return ""
    names = dict(ComponentKey.choices)
    step = standing.blamed
    return f"{step.remedy.name}, {names.get(step.component, step.component)}"


def _withdrawn(job: RepairJob) -> list[dict[str, Any]]:
    """What was noted by mistake on this job, with its reasons."""
    steps = job.steps.exclude(withdrawn_at=None).select_related("remedy")
    checks = job.checks.exclude(withdrawn_at=None)
    rows = [(one, one.remedy.name) for one in steps] + [(one, _t("Bench check")) for one in checks]
    data: list[dict[str, Any]] = [
        {"words": words, "at": one.withdrawn_at, "reason": one.withdrawn_because}
        for one, words in rows
    ]
    return sorted(data, key=lambda row: row["at"])


def _is_redone(job: RepairJob) -> bool:
    """Whether something was done about the last failed check."""
    try:
        blaming.refuse_not_redone(job)
    except BadInput:
        return False
    return True


def _steps(job: RepairJob, tried: StepForm | None) -> list[dict[str, Any]]:
    """Each step with its form while it is to be done; the first of these gets the focus."""
    live = job.steps.filter(withdrawn_at=None)
    rows = list(live.select_related("remedy", "job__frame", "job__grading"))
    now = timezone.now()
    names = dict(ComponentKey.choices)
    # All names once, for the steps would ask part by part.
    parts = dict(Part.objects.values_list("code", "name"))
    is_open = job.state == RepairJob.State.OPEN
    shown: list[dict[str, Any]] = []
    for step in rows:
        form = (
            StepForm(step, auto_id=f"step{step.pk}_%s") if is_open and _to_do(step, rows) else None
        )
        if tried is not None and tried.step.pk == step.pk:
            form = tried
        shown.append(
            {
                "it": step,
                "component": names.get(step.component, step.component),
                "lines": [line for line in step.remedy.steps.splitlines() if line.strip()],
                "used": [(parts.get(code, code), n) for code, n in step.parts_used.items()],
                "form": form,
                "drop": ActionForm(auto_id=f"drop{step.pk}_%s"),
                "withdraw": WithdrawForm(auto_id=f"withdraw{step.pk}_%s")
                if is_open
                and step.done_at
                and step.worked is None
                and withdrawals.is_fresh(step.done_at, now)
                else None,
            }
        )
    first = next((one["form"] for one in shown if one["form"] is not None), None)
    if first is not None:
        focused(first)
    return shown


def _last_of(job: RepairJob) -> JobStep | None:
    """The one step that is left, done anew or for the first time; None where none or more are."""
    rows = list(
        job.steps.filter(withdrawn_at=None).select_related("remedy", "job__frame", "job__grading")
    )
    left = [step for step in rows if _to_do(step, rows)]
    return left[0] if len(left) == 1 else None


def _ending(
    request: StaffRequest, steps: list[dict[str, Any]], job: RepairJob, version: int
) -> EndingForm | None:
    """The form for all that is left, where no more than one step is; its step is shown in it."""
    left = [one for one in steps if one["form"] is not None]
    if job.state != RepairJob.State.OPEN or len(left) > 1 or (not left and not _is_redone(job)):
        return None
    for one in left:
        one["is_last"] = True
    step = left[0]["it"] if left else None
    initial = scales.last(request) | {"seen_version": version}
    return EndingForm(job, step, auto_id="end_%s", initial=initial)


def _in_one(
    request: StaffRequest, ending: EndingForm | None, tried: ActionForm | None
) -> EndingForm | None:
    """What was refused of the step or the check alone, in the form that holds both."""
    is_its_step = isinstance(tried, StepForm) and ending and tried.step == ending.step
    if ending is None or tried is None or not (is_its_step or isinstance(tried, CheckForm)):
        return None
    bound = EndingForm(ending.job, ending.step, request.POST, auto_id="end_%s")
    bound.refuse_as(tried)
    return bound


def _to_do(step: JobStep, rows: list[JobStep]) -> bool:
    """Not done yet, or failed and not tried anew since."""
    if step.done_at is None:
        return True
    later = [
        row
        for row in rows
        if row.pk > step.pk and (row.remedy_id, row.component) == (step.remedy_id, step.component)
    ]
    return step.worked is False and not later
