"""Advice after a failed check, from the masters of the makers' workshop and worked by hand.

Labour 40 a minute, postage 380, a new frame in its place 1990 in all. A new arm takes 8 minutes
and a part for 160: 480, and holds 96 % of the time as typed.
"""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User

from inventory.parts import rules as stock
from returns.mending import queries
from returns.mending.queries import Way
from returns.mending.rules import blaming, mending
from returns.models import JobStep, Remedy, RepairJob
from tests.makers import NOON, Shop, key
from tests.returns.workroom_makers import FAIL, NEW_ARM, TIGHTEN, do, found, graded, opened

pytestmark = pytest.mark.django_db


def failed(shop: Shop, bea: User, *plan: dict[str, object], named: int | None = None) -> RepairJob:
    frame = graded(shop, bea, *plan)
    found(frame, "arm_left", "snapped")
    job = opened(frame, bea)
    for index in range(len(plan)):
        do(job, bea, index)
    blamed = None if named is None else list(job.steps.all())[named]
    mending.check(
        key=key(),
        job=job,
        check=FAIL,
        blamed=blamed,
        nobody_can_tell=blamed is None,
        at=NOON,
        by=bea,
    )
    return job


def advice(job: RepairJob) -> Way:
    way = queries.advice(job.checks.get(), blaming.live_steps(job))
    assert way is not None
    return way


def test_failed_arm_is_put_on_anew_where_that_is_cheaper(shop: Shop, bea: User) -> None:
    """Learned from the one failure: (4.8 + 0) / 6 = 80 %, minutes (40 + 6) / 6 = 7.667: 466.67 a
    try. Twice: 466.67 + 0.8 x 380 + 0.2 x (466.67 + 0.8 x 380 + 0.2 x 1990) = 1004.4."""
    way = advice(failed(shop, bea, NEW_ARM))
    assert way.advice.goes_on
    assert way.remedy == Remedy.objects.get(key="new-arm")
    assert way.component == "arm_left"
    try_minor = 40 * 46 / 6 + 160
    behind = try_minor + 0.8 * 380 + 0.2 * 1990
    assert way.advice.go_on_minor == pytest.approx(try_minor + 0.8 * 380 + 0.2 * behind)
    assert way.advice.give_up_minor == 1990


def test_remedy_that_keeps_failing_is_not_advised(shop: Shop, bea: User) -> None:
    job = failed(shop, bea, NEW_ARM)
    remedy = Remedy.objects.get(key="new-arm")
    JobStep.objects.bulk_create(
        JobStep(
            job=job, remedy=remedy, component="arm_right", done_at=NOON, minutes=30, worked=False
        )
        for _try in range(60)
    )
    step = job.steps.get(component="arm_left")
    way = queries.advice(job.checks.get(), [step])
    assert way is not None
    assert not way.advice.goes_on


def test_remedy_whose_part_is_gone_is_not_advised(shop: Shop, bea: User) -> None:
    job = failed(shop, bea, NEW_ARM)
    stock.count(key=key(), part=shop.arm, counted=0, reason="mislaid", at=NOON)
    assert advice(job).remedy is None


def test_likelier_of_two_is_advised_where_nobody_can_tell(shop: Shop, bea: User) -> None:
    Remedy.objects.filter(key="tighten").update(odds_ppm=500_000)
    way = advice(failed(shop, bea, NEW_ARM, TIGHTEN))
    assert way.remedy == Remedy.objects.get(key="tighten")


def test_named_step_is_the_one_that_is_mended(shop: Shop, bea: User) -> None:
    Remedy.objects.filter(key="tighten").update(odds_ppm=500_000)
    way = advice(failed(shop, bea, NEW_ARM, TIGHTEN, named=0))
    assert way.component == "arm_left"
