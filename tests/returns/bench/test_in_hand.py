"""Who has a frame in hand is told to the others, for a while, and holds nobody up."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import StaleState
from returns.bench import rules
from returns.bench.queries import in_hand
from returns.bench.queries.frames import version_of
from returns.models import ReturnedFrame
from tests.makers import NOON, Shop, key
from tests.returns import workroom_makers as workroom
from tests.returns.bench_makers import on_shelf

pytestmark = pytest.mark.django_db
SECOND = timedelta(seconds=1)


def holder(frame: ReturnedFrame, late: timedelta = timedelta(0)) -> str:
    hand = in_hand.holders([frame.tag], NOON + late).get(frame.tag)
    return hand.name if hand else ""


def take(frame: ReturnedFrame, by: User) -> None:
    rules.take_in_hand(key=key(), frame=frame, at=NOON, by=by)


def test_time_another_hand_or_a_deed_lays_it_down(shop: Shop, bea: User, ben: User) -> None:
    frame = on_shelf(shop, bea)
    assert holder(frame) == ""
    take(frame, bea)
    ends = in_hand.HELD_FOR
    assert [holder(frame, ends + one) for one in (-SECOND, timedelta(0), SECOND)] == ["bea", "", ""]
    take(frame, ben)
    assert holder(frame) == "ben"
    rules.put_down(key=key(), frame=frame, at=NOON, by=bea)
    assert holder(frame) == ""


def test_mending_keeps_it_in_hand_and_the_weigh_out_lays_it_down(shop: Shop, bea: User) -> None:
    frame = workroom.graded(shop, bea, workroom.POLISH)
    job = workroom.opened(frame, bea)
    assert holder(frame) == "bea"
    workroom.do(job, bea)
    assert holder(frame) == "bea"
    assert holder(workroom.mended(shop, bea)) == ""


def test_it_makes_no_newer_version_and_ends_with_the_frame(shop: Shop, bea: User) -> None:
    frame = on_shelf(shop, bea)
    version = version_of(frame.tag)
    take(frame, bea)
    assert version_of(frame.tag) == version
    ReturnedFrame.objects.update(ended_at=NOON)
    with pytest.raises(StaleState):
        take(frame, bea)


def test_the_others_see_the_name_on_the_frame_and_on_today(
    client: Client, shop: Shop, bea: User, ben: User
) -> None:
    frame = on_shelf(shop, bea)
    address = reverse("frame", args=[frame.tag])
    client.force_login(bea)
    client.post(reverse("frame-hand", args=[frame.tag]), {"key": key(), "hand": "take"})
    assert "You have it in hand" in client.get(address).content.decode()
    client.force_login(ben)
    assert "bea has it in hand" in client.get(address).content.decode()
    assert "bea has it in hand" in client.get(f"{address}look/").content.decode()
    assert "in bea's hand" in client.get(reverse("bench")).content.decode()
    look = {"key": key(), "polymer": "ours", "d_arm_left_snapped": "on", "take": "1"}
    assert client.post(f"{address}look/", look).status_code == 302
    assert "in bea's hand" not in client.get(reverse("bench")).content.decode()
    client.post(reverse("frame-hand", args=[frame.tag]), {"key": key(), "hand": "down"})
    assert client.post(reverse("frame-hand", args=[frame.tag]), {}).status_code == 400
