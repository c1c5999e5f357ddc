"""Learned odds and minutes: gathered from outcomes, used by grading, shown to the owner.

Figures are constructed. Typed "new arm": 8 minutes, 96 %, counted as 5 cases: Beta(4.8, 0.2).
"""

from __future__ import annotations

from fractions import Fraction

import pytest
from django.contrib.auth.models import User
from django.test import Client

from returns.grading.queries import learning
from returns.grading.queries.facts import Seen
from returns.grading.queries.learning import Tally
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.models import BenchCheck, Grading, JobStep, Remedy, RepairJob, ReturnedFrame
from tests import furnished
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import filed, on_shelf
from tests.returns.workroom_makers import NEW_ARM, graded, opened

TYPED = Fraction(96, 100)


def outcomes(job: RepairJob, remedy: str, worked: list[bool | None], minutes: int = 11) -> None:
    JobStep.objects.bulk_create(
        JobStep(
            job=job,
            remedy=Remedy.objects.get(key=remedy),
            component="arm_left",
            done_at=NOON,
            minutes=minutes,
            worked=verdict,
        )
        for verdict in worked
    )


@pytest.fixture
def job(shop: Shop, bea: User) -> RepairJob:
    return opened(graded(shop, bea, NEW_ARM), bea)


@pytest.fixture
@furnished.once
def frame(shop: Shop, bea: User) -> ReturnedFrame:
    return on_shelf(shop, bea, filed(shop.avocet_slate))


def grade(frame: ReturnedFrame, by: User) -> Grading:
    look = Look(findings=[Seen("arm_left", "snapped")], polymer="ours")
    return lookover.grade(key=key(), frame=frame, look=look, at=NOON, by=by)


def test_without_outcomes_the_typed_figures_stand_even_at_the_edge() -> None:
    assert Tally().odds(Fraction(1)) == 1
    assert Tally().minutes(Fraction(8)) == 8


def test_one_outcome_draws_the_means_from_the_typed_figures() -> None:
    """(4.8 + 0) / (5 + 1) = 0.8; (5 x 8 + 20) / 6 = 10."""
    tally = Tally(worked=0, failed=1, timed=1, minutes_total=20)
    assert (tally.odds(TYPED), tally.minutes(Fraction(8))) == (Fraction(4, 5), 10)


def test_tally_counts_judged_steps_for_odds_and_done_steps_for_minutes(job: RepairJob) -> None:
    outcomes(job, "new-arm", [True, True, False, None])
    tally = learning.tallies()[Remedy.objects.get(key="new-arm").pk]
    assert tally == Tally(worked=2, failed=1, timed=4, minutes_total=44)


def test_planned_step_that_is_not_done_is_no_evidence(job: RepairJob) -> None:
    assert job.steps.count() == 1
    assert not learning.tallies()


def test_failure_that_nobody_can_place_is_shared_by_the_odds(job: RepairJob, bea: User) -> None:
    """Ten checks of two arms each, two of them failed: 20 tries, and the failures are even.

    Typed 96 %, counted as five cases. With q the odds, a failed pair holds 2 (1 - q) / (1 - q²) =
    2 / (1 + q) failures; q = (4.8 + 20 - 4 / (1 + q)) / 25 gives q = 0.9081.
    """
    for _check in range(8):
        outcomes(job, "new-arm", [True, True])
    for _check in range(2):
        row = BenchCheck.objects.create(
            job=job,
            closes_freely=False,
            screw_flush=True,
            lens_held=True,
            no_sharp_edge=True,
            at=NOON,
            by=bea,
        )
        outcomes(job, "new-arm", [False, False])
        JobStep.objects.filter(worked=False, shared_check=None).update(shared_check=row)
    tally = learning.tallies()[Remedy.objects.get(key="new-arm").pk]
    assert (tally.worked, tally.failed, tally.shared) == (16, 0, 4)
    assert float(tally.shared_failed) == pytest.approx(4 / 1.9081, abs=0.001)
    assert float(tally.odds(TYPED)) == pytest.approx(0.9081, abs=0.001)


def test_learned_page_figures_agree_with_what_grading_uses(job: RepairJob) -> None:
    outcomes(job, "new-arm", [True, False])
    one = next(row for row in learning.learned() if row.remedy.key == "new-arm")
    assert one.odds.mean == one.tally.odds(TYPED)
    assert one.minutes is not None
    assert one.minutes.mean == one.tally.minutes(Fraction(8))
    assert one.odds.low < float(one.odds.mean) < one.odds.high


def test_all_remedies_take_one_query_for_outcomes_and_one_for_the_masters(
    job: RepairJob, django_assert_num_queries: object
) -> None:
    outcomes(job, "new-arm", [True] * 3)
    outcomes(job, "step-up", [False] * 2)
    # 1 shared failures, 2 tallies, 3 remedies
    with django_assert_num_queries(3):  # type: ignore[operator]
        rows = learning.learned()
    assert len(rows) == Remedy.objects.count()


def test_grading_takes_the_learned_means_and_keeps_what_they_rest_on(
    job: RepairJob, frame: ReturnedFrame, bea: User
) -> None:
    """Odds (4.8 + 4) / (5 + 5) = 0.88; minutes (40 + 5 x 11) / 10 = 9.5, shown as 10."""
    outcomes(job, "new-arm", [True] * 4 + [False])
    plan = grade(frame, bea).sums["plan"]
    remedy = plan["remedies"][0]
    assert (remedy["odds_ppm"], remedy["minutes"], plan["labour_minor"]) == (880_000, 10, 380)
    assert remedy["evidence"] == {
        "typed_odds_ppm": 960_000,
        "typed_minutes": 8,
        "weight": 5,
        "worked": 4,
        "failed": 1,
        "timed": 5,
        "minutes_total": 55,
    }


def test_grading_twice_on_the_same_outcomes_gives_the_same_sums(
    job: RepairJob, frame: ReturnedFrame, bea: User
) -> None:
    outcomes(job, "new-arm", [True, False, False])
    assert grade(frame, bea).sums == grade(frame, bea).sums


def test_remedy_that_keeps_failing_loses_the_repair(
    job: RepairJob, frame: ReturnedFrame, bea: User
) -> None:
    """Odds 4.8 / 105 and 105 tries: a replacement is all but certain on top, over the ceiling."""
    assert grade(frame, bea).computed == "repair"
    outcomes(job, "new-arm", [False] * 100, minutes=60)
    assert grade(frame, bea).computed == "regrind"


def test_owner_sees_typed_and_learned_with_the_counts(
    job: RepairJob, olga: User, client: Client
) -> None:
    outcomes(job, "new-arm", [True] * 4 + [False])
    client.force_login(olga)
    page = client.get("/owner/remedies/").content.decode()
    assert "96.0" in page
    assert "88.0" in page
    assert "9.5" in page


def test_remedy_typed_with_no_minutes_still_has_a_page(
    shop: Shop, olga: User, client: Client
) -> None:
    Remedy.objects.filter(key="tighten").update(minutes=0, odds_ppm=1_000_000)
    client.force_login(olga)
    assert client.get("/owner/remedies/").status_code == 200


def test_bench_hand_may_not_see_the_owners_page(shop: Shop, bea: User, client: Client) -> None:
    client.force_login(bea)
    assert client.get("/owner/remedies/").status_code == 403


def test_frame_page_says_how_many_outcomes_stand_behind_the_plan(
    job: RepairJob, frame: ReturnedFrame, bea: User, client: Client
) -> None:
    outcomes(job, "new-arm", [True] * 4 + [False])
    grade(frame, bea)
    client.force_login(bea)
    page = client.get(f"/bench/frame/{frame.tag}/").content.decode()
    assert "It held 4 of the 5 times that it was checked here" in page
    assert "still counts as 5 more" in page
