"""What a bench check says of the steps behind it: which held, which did not, and which share the
blame because nobody can tell.
"""

from __future__ import annotations

from typing import Any, Protocol

from django.utils.translation import gettext as _

from inventory.errors import BadInput
from inventory.models import Event
from returns.models import BenchCheck, JobStep, RepairJob


class Answers(Protocol):
    """The answers of a check, as far as they are about steps."""

    @property
    def passed(self) -> bool: ...

    def judges(self, kind: str, method: str) -> bool: ...


def live_steps(job: RepairJob) -> list[JobStep]:
    """Return the last try of each remedy on each piece: what is on the frame now."""
    # A later try stands in the place of an earlier one: the dictionary keeps the last of each pair.
    done = job.steps.filter(withdrawn_at=None).exclude(done_at=None).select_related("remedy")
    return list({(one.remedy_id, one.component): one for one in done.order_by("pk")}.values())


def standing_check(job: RepairJob) -> BenchCheck | None:
    """Return the latest check that was not withdrawn."""
    return job.checks.filter(withdrawn_at=None).order_by("-pk").first()


def refuse_bad_blame(
    answers: Answers, live: list[JobStep], blamed: JobStep | None, *, nobody_can_tell: bool
) -> None:
    """Refuse a failed check that neither names a step nor says that nobody can tell.

    Raises BadInput on `blamed`; also for a passed check that blames a step.
    """
    if answers.passed:
        if blamed is not None or nobody_can_tell:
            raise BadInput(
                _("All four hold, so no step failed. Put one of the two right."), field="blamed"
            )
        return
    if blamed is not None and blamed.pk not in {one.pk for one in live}:
        raise BadInput(_("Choose one of the steps that were done last."), field="blamed")
    if live and (blamed is not None) == nobody_can_tell:
        raise BadInput(_("Say which step did not hold, or that nobody can tell."), field="blamed")


def judge(check: BenchCheck, answers: Answers, live: list[JobStep]) -> list[list[Any]]:
    """Write each step's verdict. Returns what stood before, so that it can be put back.

    Passed, all that is on the frame holds. Failed, a step that the answers do not speak of holds;
    the named one failed, and what else the answers speak of waits for the next check. Where nobody
    can tell, the steps that the answers speak of share the blame.
    """
    # Only what changes is kept, with the verdict that it had: a withdrawal writes back these rows
    # and no others.
    before = []
    sharing = _sharing(check, answers, live)
    for step in live:
        worked, shared = step.worked, step.shared_check_id
        _say(step, check, answers, sharing)
        if (step.worked, step.shared_check_id) != (worked, shared):
            before.append([step.pk, worked, shared])
            step.save(update_fields=["worked", "shared_check"])
    return before


def _sharing(check: BenchCheck, answers: Answers, live: list[JobStep]) -> set[int]:
    """The steps of which nobody can tell: the narrowest group that the answers leave."""
    if answers.passed or check.blamed_id is not None:
        return set()
    open_ = [one for one in live if one.worked is None]
    spoken_of = [one for one in live if not _holds(one, answers)]
    # From narrow to wide: the unjudged steps that the answers speak of, then all that they speak
    # of, then all unjudged ones, then all. Somebody has to bear a failure that happened.
    groups = ([one for one in spoken_of if one in open_], spoken_of, open_, live)
    return {one.pk for one in next((group for group in groups if group), [])}


def _say(step: JobStep, check: BenchCheck, answers: Answers, sharing: set[int]) -> None:
    if answers.passed:
        step.worked, step.shared_check = True, None
    elif step.pk == check.blamed_id:
        step.worked, step.shared_check = False, None
    elif step.pk in sharing:
        # A single suspect is no shared failure: it is blamed like a named one.
        step.worked, step.shared_check = False, check if len(sharing) > 1 else None
    # A verdict of an earlier check stays: this one did not look at it anew.
    elif step.worked is None and _holds(step, answers):
        step.worked = True


def _holds(step: JobStep, answers: Answers) -> bool:
    return answers.judges(step.remedy.component_kind, step.remedy.method)


def refuse_not_redone(job: RepairJob) -> None:
    """Refuse a check when nothing was done since the last one failed: at the named step's place,
    or anywhere where nobody could tell. Raises BadInput."""
    last = standing_check(job)
    if last is None or last.passed:
        return
    # By place and not by step: a screw that did not hold may be mended by a new hinge on that side.
    places = {place_of(one.component) for one in steps_since(job, last)}
    if last.blamed is not None and place_of(last.blamed.component) not in places:
        raise BadInput(
            _("Do “%(step)s” anew first, or another step in its place; then check again.")
            % {"step": last.blamed.remedy}
        )
    if not places:
        raise BadInput(_("Do a step anew or add one first; then check again."))


def steps_since(job: RepairJob, check: BenchCheck) -> list[JobStep]:
    """Return the steps done since a check was noted; their events tell the order."""
    # Moments may be equal, numbers of events never are.
    events = Event.objects.filter(subject=job.frame.tag).order_by("pk")
    noted = events.filter(name="mending.check", detail__check=check.pk).first()
    done = events.filter(name="mending.do_step")
    numbers = [one.detail["step"] for one in (done.filter(pk__gt=noted.pk) if noted else done)]
    return list(job.steps.filter(pk__in=numbers, withdrawn_at=None))


def place_of(component: str) -> str:
    """Name the place where a step is done: hinge, screw and arm of one side are one."""
    kind, _underscore, side = component.partition("_")
    if kind in ("arm", "hinge", "screw"):
        return side
    return "front" if kind == "bridge" else component
