"""Repair jobs: steps from the plan, parts and grams, the check, giving up, weighing out."""

from __future__ import annotations

from dataclasses import asdict
from datetime import timedelta
from importlib import import_module
from typing import Any

import pytest
from django.apps import apps
from django.contrib.auth.models import User

from inventory.errors import BadInput, KeyReused, NotEnough, StaleState
from inventory.ledger.rules import ledger, places
from inventory.models import Event, Movement, Part, PlaceKind, Reservation
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.arriving.queries.frame_masses import on_bench_mg
from returns.bench.queries.frames import version_of
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.grading.sums import PolymerCheck
from returns.mending.rules import fitting, mending, withdrawals
from returns.mending.rules.mending import Check
from returns.models import BenchCheck, JobStep, Remedy, RepairJob, ReturnedFrame
from returns.story.sums.states import FrameState
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import on_shelf
from tests.returns.workroom_makers import (
    FAIL,
    NEW_ARM,
    NEW_SCREW,
    PASS,
    POLISH,
    STEP_UP,
    TIGHTEN,
    arrived,
    do,
    found,
    graded,
    held,
    opened,
    weigh_out,
)

pytestmark = pytest.mark.django_db
WHOLE_MG = 24_820


def state_of(frame: ReturnedFrame) -> str:
    return ReturnedFrame.objects.get(pk=frame.pk).state


def checked(job: RepairJob, by: User, check: Check = PASS, **word: Any) -> RepairJob:
    """Check a job; of a failure nobody can tell the step, unless a word says which."""
    word = word or {"nobody_can_tell": not check.passed}
    mending.check(key=key(), job=job, check=check, at=NOON, by=by, **word)
    return RepairJob.objects.get(pk=job.pk)


def test_job_opens_with_the_steps_of_the_plan_and_the_frame_on_the_bench(
    shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, NEW_ARM, TIGHTEN)
    job = opened(frame, bea)
    assert [(s.remedy.key, s.component) for s in job.steps.all()] == [
        ("new-arm", "arm_left"),
        ("tighten", "screw_right"),
    ]
    assert state_of(frame) == FrameState.MENDING
    assert (on_bench_mg(frame), held(PlaceKind.ARRIVALS)) == (WHOLE_MG, 0)


def test_job_opens_once_and_a_second_hand_is_told(shop: Shop, bea: User, ben: User) -> None:
    frame, same = graded(shop, bea, POLISH), key()
    job = mending.open_job(key=same, frame=frame, at=NOON, by=bea)
    assert mending.open_job(key=same, frame=frame, at=NOON, by=bea) == job
    with pytest.raises(StaleState):
        opened(frame, ben)
    assert RepairJob.objects.count() == 1


@pytest.mark.parametrize("state", ["weighed", "held", "to_strip", "to_return", "boxed"])
def test_only_a_frame_that_is_to_be_mended_can_be(shop: Shop, bea: User, state: str) -> None:
    with pytest.raises(StaleState):
        opened(graded(shop, bea, POLISH, state=state), bea)


def test_plan_may_be_empty_and_steps_added(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea), bea)
    polish = Remedy.objects.get(key="polish-front")
    facts = {"job": job, "remedy": polish, "component": "front", "at": NOON, "by": bea}
    step = mending.add_step(key=key(), **facts)
    assert list(job.steps.all()) == [step]
    with pytest.raises(BadInput) as refused:
        mending.add_step(key=key(), **(facts | {"component": "elbow"}))
    assert refused.value.field == "component"


def test_new_arm_takes_a_piece_and_changes_the_mass_by_nominal_figures(
    shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, NEW_ARM)
    step = do(opened(frame, bea), bea)
    assert (step.minutes, step.parts_used) == (6, {"arm-avocet": 1})
    assert part_stock.held(shop.arm) == 5
    # The new arm is on, the old one off: 4.1 g each.
    assert on_bench_mg(frame) == WHOLE_MG
    assert held(PlaceKind.FOREIGN) == 4_100
    assert held(PlaceKind.PRESS) == -4_100


def test_screw_that_was_missing_takes_none_off(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, NEW_SCREW)
    do(opened(frame, bea), bea)
    assert on_bench_mg(frame) == WHOLE_MG + 110
    assert held(PlaceKind.METAL) == 0


def test_stepping_up_takes_the_old_screw_to_the_metal(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, STEP_UP)
    do(opened(frame, bea), bea)
    assert held(PlaceKind.METAL) == 110
    assert on_bench_mg(frame) == WHOLE_MG + 150 - 110


def test_stepping_up_where_the_screw_is_missing_takes_none_off(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, STEP_UP)
    found(frame, "screw_left", "missing")
    do(opened(frame, bea), bea)
    assert held(PlaceKind.METAL) == 0


def test_polishing_moves_nothing(shop: Shop, bea: User) -> None:
    do(opened(graded(shop, bea, POLISH), bea), bea)
    assert not Movement.objects.filter(kind="fit_part").exists()


def salvage(shop: Shop, pieces: int, mass_mg: int) -> None:
    bench, bin_ = places.mass(PlaceKind.SALVAGE), places.bin_of(shop.arm)
    lines = [
        ledger.Line(places.mass(PlaceKind.ARRIVALS), bench, mass_mg),
        ledger.Line(places.pieces(PlaceKind.WEARERS), bin_, pieces),
    ]
    shelf = ledger.Line(places.mass(PlaceKind.WEARERS), places.mass(PlaceKind.ARRIVALS), mass_mg)
    ledger.post(key=key(), kind="weigh_in", lines=[shelf], happened_at=NOON)
    ledger.post(key=key(), kind="strip_down", lines=lines, happened_at=NOON)


def test_salvaged_piece_is_used_before_a_bought_one_and_brings_its_mass(
    shop: Shop, bea: User
) -> None:
    salvage(shop, 1, 4_050)
    frame = graded(shop, bea, NEW_ARM)
    assert fitting.salvaged_left(shop.arm) == 1
    job = opened(frame, bea)
    do(job, bea)
    # The salvage bin holds 4.05 g for a nominal 4.1 g: it gives what it has, never more.
    assert held(PlaceKind.SALVAGE) == 0
    assert held(PlaceKind.PRESS) == 0
    assert on_bench_mg(frame) == WHOLE_MG + 4_050 - 4_100
    assert fitting.salvaged_left(shop.arm) == 0


def test_salvaged_and_bought_pieces_are_told_apart(shop: Shop, bea: User) -> None:
    salvage(shop, 1, 4_100)
    do(opened(graded(shop, bea, NEW_ARM), bea), bea, parts_used={"arm-avocet": 2})
    assert (held(PlaceKind.SALVAGE), held(PlaceKind.PRESS)) == (0, -4_100)
    assert part_stock.held(shop.arm) == 5


def test_pieces_promised_to_others_are_not_used(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea, NEW_ARM), bea)
    stock.reserve(part=shop.arm, pieces=6, subject="Q-OTHER", at=NOON)
    with pytest.raises(NotEnough):
        do(job, bea)
    assert not job.steps.exclude(done_at=None).exists()


def test_pieces_promised_to_this_frame_are(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, NEW_ARM)
    stock.reserve(part=shop.arm, pieces=6, subject=frame.tag, at=NOON)
    do(opened(frame, bea), bea)
    assert Reservation.objects.get(subject=frame.tag).state == "used"


def test_promise_shrinks_to_what_is_still_to_do_and_ends_with_the_job(
    shop: Shop, bea: User
) -> None:
    frame = graded(shop, bea, NEW_ARM, NEW_SCREW)
    stock.reserve(part=shop.arm, pieces=1, subject=frame.tag, at=NOON)
    stock.reserve(part=shop.screw, pieces=1, subject=frame.tag, at=NOON)
    job = opened(frame, bea)
    do(job, bea)
    assert (part_stock.promised(shop.arm), part_stock.promised(shop.screw)) == (0, 1)
    mending.give_up(key=key(), job=job, reason="cracked on", at=NOON, by=bea)
    assert part_stock.promised(shop.screw) == 0


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"minutes": 0}, "minutes"),
        ({"minutes": 481}, "minutes"),
        ({"parts_used": {"gold-bar": 1}}, "parts"),
        ({"parts_used": {"screw-m14": 0}}, "part-screw-m14"),
        ({"parts_used": {"screw-m14": 21}}, "part-screw-m14"),
    ],
)
def test_bad_step_is_refused_by_field(
    shop: Shop, bea: User, changes: dict[str, object], field: str
) -> None:
    with pytest.raises(BadInput) as refused:
        do(opened(graded(shop, bea, POLISH), bea), bea, **changes)
    assert refused.value.field == field


def test_step_is_done_once_and_a_repeat_is_harmless(shop: Shop, bea: User) -> None:
    job, same = opened(graded(shop, bea, NEW_ARM), bea), key()
    first = do(job, bea, key=same)
    assert do(job, bea, key=same) == first
    assert part_stock.held(shop.arm) == 5
    with pytest.raises(KeyReused):
        do(job, bea, key=same, minutes=7)
    with pytest.raises(StaleState):
        do(job, bea)


def test_check_waits_until_every_step_is_done_or_dropped(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea, POLISH, TIGHTEN), bea)
    do(job, bea)
    with pytest.raises(BadInput):
        checked(job, bea)
    left = job.steps.get(done_at=None)
    mending.drop_step(key=key(), job=job, step=left, at=NOON, by=bea)
    assert checked(job, bea).state == RepairJob.State.PASSED


def test_done_step_cannot_be_dropped(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea, POLISH), bea)
    step = do(job, bea)
    with pytest.raises(StaleState):
        mending.drop_step(key=key(), job=job, step=step, at=NOON, by=bea)


def test_passed_check_marks_every_step_as_worked_and_ends_the_job(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, POLISH, TIGHTEN)
    job = opened(frame, bea)
    do(job, bea, 0)
    do(job, bea, 1)
    job = checked(job, bea)
    assert (job.state, job.ended_at) == (RepairJob.State.PASSED, NOON)
    assert [step.worked for step in job.steps.all()] == [True, True]
    assert state_of(frame) == FrameState.MENDING


@pytest.mark.parametrize(
    ("wrong", "worked"),
    [
        # polish of the front, tighten of a screw, new arm, step up at an arm
        ("closes_freely", [True, False, False, False]),
        ("screw_flush", [True, False, True, False]),
        ("lens_held", [False, True, True, True]),
        ("no_sharp_edge", [False, True, False, False]),
    ],
)
def test_failed_check_marks_the_steps_that_it_speaks_of(
    shop: Shop, bea: User, wrong: str, worked: list[bool]
) -> None:
    job = opened(graded(shop, bea, POLISH, TIGHTEN, NEW_ARM, STEP_UP), bea)
    for index in range(4):
        do(job, bea, index)
    answers = {name: name != wrong for name in PASS.__dataclass_fields__}
    job = checked(job, bea, Check(**answers))
    assert [step.worked for step in job.steps.all()] == worked
    assert job.state == RepairJob.State.OPEN


def test_failed_step_is_tried_anew_beside_its_verdict(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea, TIGHTEN), bea)
    first = do(job, bea)
    job = checked(job, bea, FAIL)
    again = do(job, bea)
    assert again.pk != first.pk
    job = checked(job, bea)
    assert [step.worked for step in job.steps.all()] == [False, True]
    assert JobStep.objects.get(pk=first.pk).worked is False


def tried(shop: Shop, bea: User, *plan: dict[str, Any]) -> RepairJob:
    """A job whose steps are all done."""
    job = opened(graded(shop, bea, *plan), bea)
    for index in range(len(plan)):
        do(job, bea, index)
    return job


def verdicts(job: RepairJob) -> list[bool | None]:
    return [step.worked for step in job.steps.all()]


def test_failure_that_nobody_can_place_is_shared_by_the_steps_it_speaks_of(
    shop: Shop, bea: User
) -> None:
    job = checked(tried(shop, bea, POLISH, TIGHTEN, NEW_ARM), bea, FAIL)
    check = job.checks.get()
    assert [step.shared_check for step in job.steps.all()] == [None, check, check]


def test_failure_that_speaks_of_one_step_only_is_its_own(shop: Shop, bea: User) -> None:
    job = checked(tried(shop, bea, POLISH, TIGHTEN), bea, FAIL)
    assert verdicts(job) == [True, False]
    assert not job.steps.exclude(shared_check=None).exists()


def test_named_step_alone_is_blamed_and_the_others_wait_for_the_next_check(
    shop: Shop, bea: User
) -> None:
    job = tried(shop, bea, POLISH, TIGHTEN, NEW_ARM)
    arm = job.steps.get(component="arm_left")
    job = checked(job, bea, FAIL, blamed=arm)
    assert verdicts(job) == [True, None, False]
    do(job, bea, 2)
    job = checked(job, bea)
    assert verdicts(job) == [True, True, False, True]


@pytest.mark.parametrize(
    "word", [{}, {"nobody_can_tell": True, "blamed": "arm"}, {"blamed": "another"}]
)
def test_failed_check_says_which_step_or_that_nobody_can_tell(
    shop: Shop, bea: User, word: dict[str, Any]
) -> None:
    job, another = tried(shop, bea, NEW_ARM), tried(shop, bea, POLISH)
    steps = {"arm": job.steps.get(), "another": another.steps.get()}
    if "blamed" in word:
        word = word | {"blamed": steps[word["blamed"]]}
    with pytest.raises(BadInput) as refused:
        mending.check(key=key(), job=job, check=FAIL, at=NOON, by=bea, **word)
    assert refused.value.field == "blamed"
    assert not job.checks.exists()


def test_check_that_holds_blames_nobody(shop: Shop, bea: User) -> None:
    job = tried(shop, bea, NEW_ARM)
    with pytest.raises(BadInput):
        mending.check(key=key(), job=job, check=PASS, blamed=job.steps.get(), at=NOON, by=bea)


def test_next_check_waits_until_the_failed_step_is_done_anew(shop: Shop, bea: User) -> None:
    job = tried(shop, bea, POLISH, NEW_ARM)
    arm = job.steps.get(component="arm_left")
    job = checked(job, bea, FAIL, blamed=arm)
    with pytest.raises(BadInput, match="anew first"):
        checked(job, bea)
    polish = Remedy.objects.get(key="polish-front")
    extra = mending.add_step(key=key(), job=job, remedy=polish, component="front", at=NOON, by=bea)
    do(job, bea, 0, step=extra)
    with pytest.raises(BadInput, match="anew first"):
        checked(job, bea)
    do(job, bea, 1)
    assert checked(job, bea).state == RepairJob.State.PASSED


def test_another_remedy_at_the_place_of_the_failed_one_will_do(shop: Shop, bea: User) -> None:
    job = checked(tried(shop, bea, TIGHTEN), bea, FAIL)
    other = mending.add_step(
        key=key(),
        job=job,
        remedy=Remedy.objects.get(key="step-up"),
        component="arm_right",
        at=NOON,
        by=bea,
    )
    do(job, bea, step=other)
    assert checked(job, bea).state == RepairJob.State.PASSED


def test_shared_step_that_was_left_alone_and_then_passed_did_hold(shop: Shop, bea: User) -> None:
    """Only the arm was done anew and the check passed: so the screw had held all along."""
    job = checked(tried(shop, bea, TIGHTEN, NEW_ARM), bea, FAIL)
    do(job, bea, 1)
    job = checked(job, bea)
    assert verdicts(job) == [True, False, True]


def test_check_on_an_old_page_is_refused(shop: Shop, bea: User) -> None:
    job = tried(shop, bea, NEW_ARM)
    seen = version_of(job.frame.tag)
    checked(job, bea, FAIL)
    do(job, bea)
    with pytest.raises(StaleState):
        mending.check(key=key(), job=job, check=PASS, at=NOON, by=bea, seen_version=seen)


def withdraw_check(job: RepairJob, by: User, **changes: Any) -> BenchCheck:
    facts = {"key": key(), "job": job, "check": job.checks.latest("pk"), "at": NOON, "by": by}
    return withdrawals.withdraw_check(**(facts | {"reason": "scanned by mistake"} | changes))


def test_failed_check_is_withdrawn_with_a_reason_and_its_verdicts_go(shop: Shop, bea: User) -> None:
    job = checked(tried(shop, bea, POLISH, TIGHTEN, NEW_ARM), bea, FAIL)
    check = withdraw_check(job, bea)
    assert (check.withdrawn_at, check.withdrawn_because) == (NOON, "scanned by mistake")
    assert verdicts(job) == [None, None, None]
    assert not job.steps.exclude(shared_check=None).exists()
    names = Event.objects.filter(subject=job.frame.tag).values_list("name", flat=True)
    assert {"mending.check", "mending.withdraw_check"} <= set(names)
    assert checked(job, bea).state == RepairJob.State.PASSED


@pytest.mark.parametrize(("minutes", "is_taken"), [(60, True), (61, False)])
def test_failed_check_is_withdrawn_within_the_owners_time(
    shop: Shop, bea: User, minutes: int, is_taken: bool
) -> None:
    job = checked(tried(shop, bea, NEW_ARM), bea, FAIL)
    at = NOON + timedelta(minutes=minutes)
    if is_taken:
        assert withdraw_check(job, bea, at=at).withdrawn_at == at
        return
    with pytest.raises(StaleState, match="60 minutes"):
        withdraw_check(job, bea, at=at)


def test_check_that_somebody_acted_on_or_that_passed_stands(shop: Shop, bea: User) -> None:
    job = checked(tried(shop, bea, NEW_ARM), bea, FAIL)
    with pytest.raises(BadInput):
        withdraw_check(job, bea, reason=" ")
    do(job, bea)
    with pytest.raises(StaleState):
        withdraw_check(job, bea)
    job = checked(job, bea)
    with pytest.raises(StaleState):
        withdraw_check(job, bea)


def withdraw_step(job: RepairJob, by: User, **changes: Any) -> JobStep:
    facts = {"key": key(), "job": job, "step": job.steps.first(), "at": NOON, "by": by}
    return withdrawals.withdraw_step(**(facts | {"reason": "pressed too early"} | changes))


def test_step_noted_by_mistake_is_withdrawn_and_its_movements_are_reversed(
    shop: Shop, bea: User
) -> None:
    job, same = tried(shop, bea, NEW_ARM), key()
    assert part_stock.held(shop.arm) == 5
    gone = withdraw_step(job, bea, key=same)
    assert withdraw_step(job, bea, key=same) == gone
    assert (part_stock.held(shop.arm), held(PlaceKind.FOREIGN)) == (6, 0)
    assert on_bench_mg(job.frame) == WHOLE_MG
    assert part_stock.promised(shop.arm) == 1
    undone = Movement.objects.exclude(reverses=None)
    assert [one.reason for one in undone] == ["pressed too early"] * 2
    again = job.steps.get(withdrawn_at=None)
    assert (again.remedy, again.done_at) == (gone.remedy, None)
    do(job, bea, step=again)
    assert part_stock.held(shop.arm) == 5
    job = checked(job, bea)
    assert verdicts(job) == [None, True]


def test_step_that_a_check_has_judged_or_that_is_old_stands(shop: Shop, bea: User) -> None:
    job = tried(shop, bea, NEW_ARM)
    with pytest.raises(StaleState, match="60 minutes"):
        withdraw_step(job, bea, at=NOON + timedelta(minutes=61))
    with pytest.raises(BadInput):
        withdraw_step(job, bea, reason="")
    job = checked(job, bea, FAIL)
    with pytest.raises(StaleState):
        withdraw_step(job, bea)


def test_old_failures_are_tied_to_their_check_so_that_the_blame_is_shared(
    shop: Shop, bea: User
) -> None:
    """As the database stood before: both steps failed by themselves, and no check names one."""
    job = tried(shop, bea, TIGHTEN, NEW_ARM)
    passed = tried(shop, bea, TIGHTEN, NEW_ARM)
    for one in (job, passed):
        one.steps.update(worked=False)
        BenchCheck.objects.create(job=one, at=NOON, by=bea, **asdict(FAIL))
    BenchCheck.objects.create(job=passed, at=NOON + timedelta(hours=1), by=bea, **asdict(PASS))
    import_module("returns.migrations.0019_share_old_blame").link(apps, None)
    assert {step.shared_check for step in job.steps.all()} == {job.checks.get()}
    assert verdicts(job) == [False, False]
    assert verdicts(passed) == [True, True]


@pytest.mark.parametrize(
    ("wishes", "state"),
    [
        ({"wish": "regrind"}, FrameState.TO_STRIP),
        ({"wish": "post_back"}, FrameState.TO_RETURN),
    ],
)
def test_given_up_frame_goes_as_the_customer_wished(
    shop: Shop, bea: User, wishes: dict[str, str], state: str
) -> None:
    job = opened(graded(shop, bea, POLISH, **wishes), bea)
    frame = mending.give_up(key=key(), job=job, reason="splits further", at=NOON, by=bea)
    assert frame.state == state
    job.refresh_from_db()
    assert job.state == RepairJob.State.ABANDONED


def test_given_up_frame_without_a_wish_is_never_destroyed(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, POLISH)
    ReturnedFrame.objects.filter(pk=frame.pk).update(wish="")
    frame.refresh_from_db()
    job = opened(frame, bea)
    gone = mending.give_up(key=key(), job=job, reason="splits further", at=NOON, by=bea)
    assert gone.state == FrameState.TO_RETURN


@pytest.mark.parametrize("reason", [" ", "x" * 201])
def test_giving_up_needs_a_short_reason(shop: Shop, bea: User, reason: str) -> None:
    job = opened(graded(shop, bea, POLISH), bea)
    with pytest.raises(BadInput) as refused:
        mending.give_up(key=key(), job=job, reason=reason, at=NOON, by=bea)
    assert refused.value.field == "reason"


def polished(shop: Shop, bea: User) -> RepairJob:
    job = opened(graded(shop, bea, POLISH), bea)
    do(job, bea)
    return checked(job, bea)


@pytest.mark.parametrize(("typed", "mass_mg"), [("24.800 g", 24_800), ("24,830", 24_830)])
def test_weigh_out_makes_the_bench_hold_what_the_scale_shows(
    shop: Shop, bea: User, typed: str, mass_mg: int
) -> None:
    frame = weigh_out(polished(shop, bea), shop, bea, typed)
    assert frame.state == FrameState.MENDED
    assert on_bench_mg(frame) == mass_mg
    assert held(PlaceKind.UNEXPLAINED) == WHOLE_MG - mass_mg
    reading = mending.weighed_out(frame)
    assert reading is not None
    assert reading.mass_mg == mass_mg


def test_weigh_out_that_agrees_posts_nothing(shop: Shop, bea: User) -> None:
    weigh_out(polished(shop, bea), shop, bea, "24.820 g")
    assert not Movement.objects.filter(kind="post_frame").exists()


def test_weigh_out_before_the_check_is_refused(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea, POLISH), bea)
    do(job, bea)
    with pytest.raises(StaleState):
        weigh_out(job, shop, bea, "24.820 g")


@pytest.mark.parametrize(("typed", "refused"), [("24.620 g", False), ("24.619 g", True)])
def test_difference_over_the_limit_needs_a_reason(
    shop: Shop, bea: User, typed: str, refused: bool
) -> None:
    # Fine scale: five expanded uncertainties are well below 200 mg, so 200 mg is the limit.
    job = polished(shop, bea)
    if not refused:
        weigh_out(job, shop, bea, typed)
        return
    with pytest.raises(BadInput) as error:
        weigh_out(job, shop, bea, typed)
    assert error.value.field == "reason"
    assert weigh_out(job, shop, bea, typed, reason="lost a pad").state == FrameState.MENDED


def test_planned_parts_fall_back_to_the_remedy(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea), bea)
    for remedy, part in (("new-arm", "arm-avocet"), ("step-up", "screw-m16")):
        step = JobStep.objects.create(
            job=job, remedy=Remedy.objects.get(key=remedy), component="arm_right"
        )
        assert mending.planned_parts(step) == {part: 1}
    assert Part.objects.filter(code="arm-avocet").exists()


def test_expected_mass_is_what_lies_in_the_house(shop: Shop, bea: User) -> None:
    frame = graded(shop, bea, POLISH)
    assert mending.expected_mass_mg(frame) == WHOLE_MG
    opened(frame, bea)
    assert mending.expected_mass_mg(frame) == WHOLE_MG


def test_plan_of_a_real_grading_becomes_steps_and_its_promise_is_used(
    shop: Shop, bea: User
) -> None:
    frame = on_shelf(shop, bea, arrived(shop, bea))
    look = Look(findings=(Seen("arm_left", "snapped"),), polymer=PolymerCheck.OURS)
    lookover.grade(key=key(), frame=frame, look=look, at=NOON, by=bea)
    frame.refresh_from_db()
    assert (frame.state, part_stock.promised(shop.arm)) == (FrameState.TO_MEND, 1)
    job = opened(frame, bea)
    step = job.steps.get()
    assert (step.remedy.key, step.component) == ("new-arm", "arm_left")
    assert mending.planned_parts(step) == {"arm-avocet": 1}
    do(job, bea)
    assert (part_stock.held(shop.arm), part_stock.promised(shop.arm)) == (5, 0)
