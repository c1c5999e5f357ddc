"""A walk-in told by a program: all of it happens once, or nothing."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.models import RequestKey
from returns.models import Parcel, Request, ReturnedFrame, WalkIn
from tests.api.callers import machine, pointers, refused
from tests.api.test_flows import SEND_BACK
from tests.makers import Shop

pytestmark = pytest.mark.django_db

WEIGHED = {"scale": "Fine scale", "mass": "24.82", "cleaned": True, "consent": "paper"}


def body(**changes: Any) -> dict[str, Any]:
    return SEND_BACK | WEIGHED | {"reason": "it is light", "email": ""} | changes


def test_a_walk_in_is_filed_agreed_to_and_weighed_in_once(shop: Shop, bea: User) -> None:
    bench = machine(bea, "bench")
    answers = [bench.post("walk-ins/", body(), key="the-one-at-ten") for _again in range(2)]
    assert [one.status_code for one in answers] == [201, 201], answers[0].content
    assert answers[0].json() == answers[1].json()
    told = answers[0].json()
    (frame,) = ReturnedFrame.objects.all()
    assert (told["frames"], told["consent"], frame.wish) == ([frame.tag], "paper", "regrind")
    assert WalkIn.objects.get().seen_by == bea
    assert told["secret"] in told["link"]
    assert not any(told["secret"] in str(row.body) for row in RequestKey.objects.all())


@pytest.mark.parametrize(
    ("changes", "pointer"),
    [
        ({"mass": "1.234", "reason": ""}, "#/mass"),
        ({"cleaned": False}, "#/cleaned"),
        ({"consent": "nod"}, "#/consent"),
        ({"wish": "sell"}, "#/wish"),
        ({"further_frames": []}, "#/further_frames"),
    ],
)
def test_a_walk_in_that_will_not_do_leaves_nothing(
    shop: Shop, bea: User, changes: dict[str, Any], pointer: str
) -> None:
    found = refused(machine(bea, "bench").post("walk-ins/", body(**changes)), 400, "bad-input")
    assert pointer in pointers(found)
    assert not Request.objects.exists()
    assert not Parcel.objects.exists()
