"""The end of a repair with one press: the last step, the check and the weigh-out, or none."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput, StaleState
from inventory.ledger.queries import naming
from inventory.models import Balance, Event
from returns.bench.queries.frames import version_of
from returns.mending.rules import finishing, mending
from returns.mending.rules.finishing import Ending, LastStep
from returns.models import BenchCheck, JobStep, RepairJob, ReturnedFrame
from tests.makers import NOON, Shop, key
from tests.returns.workroom_makers import FAIL, NEW_ARM, PASS, POLISH, TIGHTEN, do, graded, opened

pytestmark = pytest.mark.django_db
MASS = "24.820"


def last(job: RepairJob, **changes: Any) -> LastStep:
    step = job.steps.get(done_at=None)
    parts = mending.planned_parts(step)
    facts = {
        "step": step,
        "minutes": 6,
        "parts_used": parts,
        "scanned": [naming.bin_code(one) for one in parts],
    }
    return LastStep(**(facts | changes))


def finish(job: RepairJob, ending: Ending, by: User, **changes: Any) -> BenchCheck:
    facts = {"key": key(), "job": job, "ending": ending, "at": NOON, "by": by} | changes
    return finishing.finish(**facts)


def test_one_press_mends_checks_and_weighs_out_and_a_second_one_repeats(
    shop: Shop, bea: User
) -> None:
    job, one = opened(graded(shop, bea, NEW_ARM), bea), key()
    ending = Ending(last=last(job), check=PASS, scale=shop.fine_scale, mass=MASS)
    version = version_of(job.frame.tag)
    for _press in range(2):
        assert finish(job, ending, bea, key=one, seen_version=version).passed
    assert ReturnedFrame.objects.get().state == "mended"
    names = (
        Event.objects.filter(subject=job.frame.tag).order_by("pk").values_list("name", flat=True)
    )
    assert list(names)[-3:] == ["mending.do_step", "mending.check", "mending.weigh_out"]


def test_a_check_that_fails_weighs_nothing_and_may_blame_the_last_step(
    shop: Shop, bea: User
) -> None:
    job = opened(graded(shop, bea, TIGHTEN), bea)
    step = last(job)
    row = finish(job, Ending(last=step, check=FAIL, blamed=step.step), bea)
    assert (row.passed, row.blamed) == (False, step.step)
    assert JobStep.objects.get().worked is False
    assert ReturnedFrame.objects.get().state == "mending"


@pytest.mark.parametrize(
    ("step", "changes", "fields"),
    [
        ({"scanned": []}, {}, {"scanned"}),
        ({"minutes": 481}, {"mass": "24,82,0"}, {"minutes", "mass"}),
        ({}, {"mass": "5 g"}, {"reason"}),
        ({}, {"scale": None}, {"scale"}),
    ],
)
def test_what_is_wrong_is_said_in_one_round_and_nothing_is_done(
    shop: Shop, bea: User, step: dict[str, Any], changes: dict[str, Any], fields: set[str]
) -> None:
    job = opened(graded(shop, bea, NEW_ARM), bea)
    facts = {"scale": shop.fine_scale, "mass": MASS} | changes
    before = Event.objects.count(), list(Balance.objects.order_by("pk").values("quantity"))
    with pytest.raises(BadInput) as refused:
        finish(job, Ending(last=last(job, **step), check=PASS, **facts), bea)
    assert {one.field for one in (refused.value, *refused.value.others)} == fields  # type: ignore[attr-defined]
    assert (
        Event.objects.count(),
        list(Balance.objects.order_by("pk").values("quantity")),
    ) == before


def test_the_slower_hand_is_refused(shop: Shop, bea: User) -> None:
    job = opened(graded(shop, bea, POLISH), bea)
    version = version_of(job.frame.tag)
    do(job, bea)
    with pytest.raises(StaleState):
        finish(
            job,
            Ending(check=PASS, scale=shop.fine_scale, mass=MASS),
            bea,
            seen_version=version,
        )
    assert not BenchCheck.objects.exists()


HOLDS = dict.fromkeys(("closes_freely", "screw_flush", "lens_held", "no_sharp_edge"), "yes")


@pytest.mark.parametrize(
    ("changes", "fields"),
    [
        ({}, {"minutes", *HOLDS}),
        ({"minutes": "6"} | HOLDS, {"scale", "mass"}),
        ({"minutes": "6"} | HOLDS | {"lens_held": "no"}, {"blamed"}),
    ],
)
def test_the_page_asks_for_all_that_is_left(
    client: Client, shop: Shop, bea: User, changes: dict[str, str], fields: set[str]
) -> None:
    client.force_login(bea)
    frame = graded(shop, bea, POLISH)
    opened(frame, bea)
    address = reverse("mend-act", args=[frame.tag, "finish"])
    answer = client.post(address, {"key": key(), **changes})
    assert answer.status_code == 422
    assert set(answer.context["ending_form"].errors) == fields


def test_two_steps_that_are_left_are_noted_one_by_one_until_the_last(
    client: Client, shop: Shop, bea: User
) -> None:
    client.force_login(bea)
    frame = graded(shop, bea, POLISH, TIGHTEN)
    job = opened(frame, bea)
    address = reverse("mend", args=[frame.tag])
    assert client.get(address).context["ending_form"] is None
    do(job, bea)
    form = client.get(address).context["ending_form"]
    data = {
        "key": key(),
        "minutes": "4",
        "scanned": "",
        "seen_version": form["seen_version"].value(),
    }
    weighed = {"scale": shop.fine_scale.pk, "mass": MASS}
    answer = client.post(reverse("mend-act", args=[frame.tag, "finish"]), data | HOLDS | weighed)
    assert answer.headers["Location"] == reverse("post-frame", args=[frame.tag])
