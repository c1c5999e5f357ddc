"""Mending one frame: the plan, its steps with parts and minutes, the check, the weigh-out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _t
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_POST, require_safe

from inventory.errors import BadInput, NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.furniture.pages.forms import ActionForm, ScansField, WeighedForm
from inventory.models import Part, Workshop
from inventory.staff.queries import BENCH, OWNER
from inventory.weighing.queries import traced
from returns.arriving.pages import scales
from returns.bench.pages.attempts import FrameForm, done, focused, found
from returns.bench.pages.finding import frame_by
from returns.bench.queries.frames import version_of
from returns.grading.sums.facts import PPM
from returns.mending import queries
from returns.mending.rules import blaming, fitting, mending, withdrawals
from returns.mending.rules.mending import Check
from returns.models import BenchCheck, JobStep, Policy, Remedy, RepairJob, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.story.sums.states import FrameState

MINUTES = {"inputmode": "numeric"}
NOBODY: Final = "nobody"


class StepForm(ActionForm):
    """Minutes, the planned parts, and one more part if it was needed."""

    minutes = forms.IntegerField(label=_("Minutes"), min_value=1, max_value=mending.MINUTES_MAX)

    def __init__(self, step: JobStep, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        self.step = step
        self.fields["minutes"].initial = step.remedy.minutes
        # Fields by the plan: the usual case is a look and a press, and another part is the
        # exception.
        planned = mending.planned_parts(step)
        for part in Part.objects.filter(code__in=planned).order_by("code"):
            self.fields[f"part-{part.code}"] = forms.IntegerField(
                label=part.name,
                min_value=0,
                max_value=fitting.PIECES_MAX,
                initial=planned[part.code],
                help_text=_t("Pieces used; %(free)s are free.")
                % {"free": fitting.free_for(part, step.job.frame.tag)},
            )
        self.fields["scanned"] = ScansField(
            kind="bin",
            is_asked=bool(planned),
            required=False,
            label=_("Labels of the bins"),
            help_text=_("Scan the bin of each part that you take, or type its code, one a line."),
        )
        self.fields["other"] = forms.ModelChoiceField(
            Part.objects.exclude(code__in=planned), required=False, label=_("Another part")
        )
        self.fields["other_pieces"] = forms.IntegerField(
            required=False,
            min_value=1,
            max_value=fitting.PIECES_MAX,
            label=_("Pieces of it"),
        )

    def facts(self) -> dict[str, Any]:
        """Return what the rule takes."""
        data = self.cleaned_data
        used = {
            name.removeprefix("part-"): pieces
            for name, pieces in data.items()
            if name.startswith("part-") and pieces
        }
        if data["other"] is not None:
            # A part chosen without a number was one piece: that is what a hand takes.
            used[data["other"].code] = data["other_pieces"] or 1
        return {"step": self.step, "minutes": data["minutes"], "parts_used": used} | {
            "scanned": data["scanned"]
        }


class AddForm(ActionForm):
    remedy = forms.ModelChoiceField(Remedy.objects.filter(active=True), label=_("What is done"))
    component = forms.ChoiceField(label=_("To which part"), choices=ComponentKey.choices)


class VerdictField(forms.TypedChoiceField):
    """One line of the check: it holds or it does not, and nobody leaves it open."""

    def __init__(self, **facts: Any) -> None:
        super().__init__(
            choices=[("yes", _("holds")), ("no", _("does not"))],
            # A tick box cannot tell "does not hold" from "not looked at".
            coerce=lambda data: data == "yes",
            widget=forms.RadioSelect,
            error_messages={"required": _("Look at it, then say whether it holds.")},
            **facts,
        )


class CheckForm(FrameForm):
    closes_freely = VerdictField(label=_("The arms open and close freely"))
    screw_flush = VerdictField(label=_("The screws sit flush"))
    lens_held = VerdictField(label=_("The lenses are held"))
    no_sharp_edge = VerdictField(label=_("No edge is sharp, anywhere a finger or temple touches"))
    blamed = forms.ChoiceField(
        required=False,
        widget=forms.RadioSelect,
        label=_("If one does not hold: which step was it?"),
        help_text=_("Only this step is blamed, in what is learned of the remedies."),
    )

    def __init__(self, job: RepairJob, *args: Any, **facts: Any) -> None:
        super().__init__(*args, **facts)
        names = dict(ComponentKey.choices)
        self.steps = {str(one.pk): one for one in blaming.live_steps(job)}
        choices: Any = self.fields["blamed"]
        choices.choices = [
            *(
                (pk, f"{one.remedy.name} · {names.get(one.component, one.component)}")
                for pk, one in self.steps.items()
            ),
            (NOBODY, _t("nobody can tell")),
        ]
        if not self.steps:
            # Without a step there is nothing to blame, and a lone "nobody can tell" would be a
            # question about nothing.
            del self.fields["blamed"]

    def facts(self) -> dict[str, Any]:
        """Return what the rule takes. With all four holding, a leftover choice counts as none."""
        data = self.cleaned_data
        check = Check(**{name: data[name] for name in Check.__dataclass_fields__})
        given = "" if check.passed else data.get("blamed", "")
        return {
            "check": check,
            "blamed": self.steps.get(given),
            "nobody_can_tell": given == NOBODY,
        }


class WithdrawForm(ActionForm):
    reason = forms.CharField(
        label=_("Why it is withdrawn"),
        max_length=withdrawals.REASON_LENGTH_MAX,
        help_text=_("Both stay in the history. Name no customer here."),
    )


class WithdrawCheckForm(WithdrawForm):
    """It names its check, so that no other one is withdrawn in its place."""

    check = forms.ModelChoiceField(BenchCheck.objects.all(), widget=forms.HiddenInput)


class GiveUpForm(ActionForm):
    reason = forms.CharField(
        label=_("Why it cannot be mended"),
        max_length=200,
        help_text=_("Name no customer here."),
    )


class WeighOutForm(WeighedForm):
    reason = forms.CharField(
        required=False,
        label=_("Reason for a large difference"),
        max_length=200,
        help_text=_("Only when the scale disagrees with what is expected."),
    )


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
    if action not in ACTIONS:
        raise NotFound()
    chosen, job = ACTIONS[action], _job(frame)
    form = CheckForm(job, request.POST) if action == "check" else chosen.form(request.POST)
    facts = _facts(form) if form.is_valid() else {}
    if done(request, form, chosen.rule, job=job, **facts):
        return _onward(request, frame, action)
    return _page(request, frame, {chosen.slot: form})


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
        "check_form": CheckForm(job, auto_id="check_%s", initial={"seen_version": version})
        if job is not None
        else None,
        "withdraw_check_form": _withdraw_check(standing),
        "give_up_form": GiveUpForm(auto_id="give_up_%s"),
        "weigh_form": WeighOutForm(auto_id="weigh_%s", initial=scales.last(request)),
        "check": standing,
        "blamed": _named(standing),
        "advice": _advice(standing),
    }
    again = tried.pop("tried_step", None)
    facts["steps"] = _steps(job, again) if is_mending and job else []
    facts["withdrawn"] = _withdrawn(job) if is_mending and job else []
    facts["all_done"] = not any(not step["it"].done_at for step in facts["steps"])
    facts["may_check"] = facts["all_done"] and job is not None and _is_redone(job)
    facts["refused"] = again or next(iter(tried.values()), None)
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
