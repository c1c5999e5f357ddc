"""Audits of weigh-ins: what may be drawn, how the draw is repeated, how a lot is judged."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction

from inventory.errors import BadInput, KeyReused, StaleState
from inventory.models import Event, Reading
from returns.auditing import rules as auditing
from returns.auditing import sums as sampling
from returns.auditing.rules import WeighedAgain
from returns.models import AuditedFrame, ReturnedFrame, WeighAudit
from tests import furnished
from tests.makers import NOON, Shop, key
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

MONTH = NOON.strftime("%Y-%m")


@pytest.fixture
@furnished.once
def lot(shop: Shop) -> list[str]:
    """Thirty frames as they came: letter D, a sample of eight with one to accept at 6.5 %."""
    return sorted(made.frame(shop).tag for _ in range(30))


def draw(by: User, *, month: str = MONTH, limit: str = "6.5") -> WeighAudit:
    return auditing.draw(key=key(), month=month, quality_limit=limit, at=NOON, by=by)


def weigh(audit: WeighAudit, shop: Shop, by: User, typed: dict[str, str]) -> WeighAudit:
    again = WeighedAgain(shop.fine_scale, typed)
    return auditing.weigh(key=key(), audit=audit, again=again, at=NOON, by=by)


def as_before(audit: WeighAudit) -> dict[str, str]:
    return {one.frame.tag: f"{one.frame.reading.mass_mg} mg" for one in audit.frames.all()}


def test_the_sample_is_the_plans_and_anybody_can_draw_it_again(lot: list[str], olga: User) -> None:
    audit = draw(olga)
    plan = sampling.plan(lot=30, aql="6.5")
    assert (audit.lot_tags, audit.accept) == (lot, plan.accept)

    def rank(tag: str) -> bytes:
        return hashlib.sha256(f"{audit.seed}:{tag}".encode()).digest()

    assert {one.frame.tag for one in audit.frames.all()} == set(
        sorted(lot, key=rank)[: plan.sample]
    )


def test_only_frames_as_they_came_are_in_the_lot(shop: Shop, lot: list[str]) -> None:
    made.posted(shop)
    made.boxed(shop)
    made.frame(shop, state="mending")
    made.frame(shop, at=NOON + timedelta(days=31))
    assert [frame.tag for frame in auditing.lot_of(MONTH)] == lot


@pytest.mark.parametrize(("frames", "may"), [(0, False), (1, False), (2, True)])
def test_a_lot_has_two_frames_at_least(shop: Shop, olga: User, frames: int, may: bool) -> None:
    for _ in range(frames):
        made.frame(shop)
    if may:
        assert draw(olga).frames.count() == frames
        return
    with pytest.raises(BadInput) as refused:
        draw(olga)
    assert refused.value.field == "month"


@pytest.mark.parametrize("month", ["", "x", "2026-13", "2026-10-01", "0000-01"])
def test_a_month_that_is_none_is_said(lot: list[str], olga: User, month: str) -> None:
    with pytest.raises(BadInput) as refused:
        draw(olga, month=month)
    assert refused.value.field == "month"


def test_a_limit_without_a_plan_is_said(lot: list[str], olga: User) -> None:
    with pytest.raises(BadInput) as refused:
        draw(olga, limit="3.0")
    assert refused.value.field == "quality_limit"


def test_a_repeat_draws_once_and_a_second_audit_waits_for_the_first(
    lot: list[str], shop: Shop, olga: User
) -> None:
    facts = {"month": MONTH, "quality_limit": "6.5", "at": NOON, "by": olga}
    mine = key()
    first = auditing.draw(key=mine, **facts)
    assert auditing.draw(key=mine, **facts) == first
    with pytest.raises(KeyReused):
        auditing.draw(key=mine, **(facts | {"quality_limit": "4.0"}))
    with pytest.raises(StaleState):
        draw(olga)
    weigh(first, shop, olga, as_before(first))
    assert draw(olga) != first


@pytest.mark.parametrize(("wrong", "state"), [(0, "passed"), (1, "passed"), (2, "failed")])
def test_the_lot_is_accepted_up_to_the_acceptance_number(
    lot: list[str], shop: Shop, olga: User, bea: User, wrong: int, state: str
) -> None:
    audit = draw(olga)
    assert audit.accept == 1
    typed = as_before(audit)
    for tag in sorted(typed)[:wrong]:
        typed[tag] = f"{made.WHOLE_MG + 5_000} mg"
    done = weigh(audit, shop, bea, typed)
    assert (done.state, done.judged_by, done.judged_at) == (state, bea, NOON)
    assert done.frames.filter(verdict="differs").count() == wrong
    action = Event.objects.get(name="audits.weigh")
    assert action.detail == {"audit": audit.pk, "wrong": wrong, "state": state}


def test_a_frame_that_is_not_there_is_wrong(lot: list[str], shop: Shop, bea: User) -> None:
    audit = draw(bea)
    typed = as_before(audit)
    tags = sorted(typed)
    del typed[tags[0]]
    typed[tags[1]] = "  "
    done = weigh(audit, shop, bea, typed)
    assert done.state == "failed"
    assert done.frames.filter(verdict="missing", reading=None).count() == 2


def test_two_weighings_differ_beyond_three_standard_deviations(
    lot: list[str], shop: Shop, bea: User
) -> None:
    audit = draw(bea)
    one = audit.frames.first()
    assert one is not None
    then = one.frame.reading
    # On the same scale in the same period only the two digital steps are left: d/√6 each.
    limit_ug = auditing.limit_ug(then, made.read(shop.fine_scale, then.mass_mg))
    step_mg = shop.fine_scale.division_mg
    assert limit_ug == pytest.approx(3 * (2 * step_mg**2 / 6) ** 0.5 * 1000, abs=3)
    typed = as_before(audit)
    within = limit_ug // (1000 * step_mg) * step_mg
    tags = sorted(typed)
    typed[tags[0]] = f"{made.WHOLE_MG + within} mg"
    typed[tags[1]] = f"{made.WHOLE_MG + within + step_mg} mg"
    weigh(audit, shop, bea, typed)
    verdicts = dict(audit.frames.values_list("frame__tag", "verdict"))
    assert (verdicts[tags[0]], verdicts[tags[1]]) == ("agrees", "differs")


def test_a_judged_audit_is_judged_once(lot: list[str], shop: Shop, bea: User) -> None:
    audit = draw(bea)
    again = WeighedAgain(shop.fine_scale, as_before(audit))
    facts = {"audit": audit, "again": again, "at": NOON, "by": bea}
    mine = key()
    first = auditing.weigh(key=mine, **facts)
    readings = Reading.objects.count()
    assert auditing.weigh(key=mine, **facts) == first
    with pytest.raises((StaleState, IntegrityError)), transaction.atomic():
        auditing.weigh(key=key(), **facts)
    assert Reading.objects.count() == readings


@pytest.mark.parametrize("typed", [{}, {"F-NONE": "24 g"}, {"": "24 g"}])
def test_masses_of_no_sampled_frame_are_refused(
    lot: list[str], shop: Shop, bea: User, typed: dict[str, str]
) -> None:
    audit = draw(bea)
    with pytest.raises(BadInput):
        weigh(audit, shop, bea, typed)


def test_a_mass_that_is_none_names_its_field_and_writes_nothing(
    lot: list[str], shop: Shop, bea: User
) -> None:
    audit = draw(bea)
    typed = as_before(audit)
    last = list(typed)[-1]
    typed[last] = "heavy"
    readings = Reading.objects.count()
    with pytest.raises(BadInput) as refused, transaction.atomic():
        weigh(audit, shop, bea, typed)
    assert refused.value.field == f"mass-{last}"
    assert Reading.objects.count() == readings
    assert WeighAudit.objects.get(pk=audit.pk).state == "open"


def test_the_database_refuses_what_no_audit_can_be(lot: list[str], olga: User) -> None:
    audit = draw(olga)
    one = audit.frames.first()
    assert one is not None
    bad = (
        lambda: WeighAudit.objects.filter(pk=audit.pk).update(judged_at=NOON),
        lambda: WeighAudit.objects.filter(pk=audit.pk).update(state="passed"),
        lambda: AuditedFrame.objects.filter(pk=one.pk).update(verdict="agrees"),
        lambda: AuditedFrame.objects.create(audit=audit, frame=one.frame),
        lambda: WeighAudit.objects.create(
            key=key(),
            month=MONTH,
            quality_limit="6.5",
            lot_tags=[],
            seed="x",
            accept=0,
            drawn_at=NOON,
            drawn_by=olga,
        ),
    )
    for action in bad:
        with pytest.raises(IntegrityError), transaction.atomic():
            action()
    assert ReturnedFrame.objects.filter(audits__audit=audit).count() == audit.frames.count()
