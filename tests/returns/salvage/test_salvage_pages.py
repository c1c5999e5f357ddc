"""The salvage page, and the promise on the donor's and the needing frame's pages."""

from __future__ import annotations

import uuid
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client

from returns.models import PartPromise
from returns.templatetags.customer import whole_codes
from tests.makers import NOON, Shop
from tests.returns.salvage_makers import empty_bin, giving, needing, stripped

pytestmark = pytest.mark.django_db
PAGE = "/bench/salvage/"


@pytest.fixture
def pair(shop: Shop, bea: User, client: Client) -> Any:
    empty_bin(shop.arm)
    client.force_login(bea)
    return giving(shop, bea), needing(shop, bea)


def told(pair: Any, **changes: Any) -> dict[str, Any]:
    facts = {"donor": pair[0].tag, "component": "arm_left", "frame": pair[1].tag}
    return {"key": str(uuid.uuid4())} | facts | changes


def text(client: Client, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200
    return answer.content.decode()


def test_empty_workshop_says_so(shop: Shop, bea: User, client: Client) -> None:
    client.force_login(bea)
    page = text(client, PAGE)
    assert "No match to approve" in page
    assert "No frame was held for parts" in page


def test_match_is_shown_approved_and_told_to_both_frames(client: Client, pair: Any) -> None:
    donor, frame = pair
    heading = whole_codes(f"Keep the left arm of {donor.tag} for {frame.tag}")
    assert heading in text(client, PAGE)
    answer = client.post(f"{PAGE}approve/", told(pair))
    assert (answer.status_code, answer.headers["Location"]) == (302, PAGE)
    assert PartPromise.objects.get().state == "open"
    assert f"Keep the left arm for {frame.tag}." in text(client, f"/bench/frame/{donor.tag}/strip/")
    assert f"Keep the left arm for {frame.tag}." in text(client, f"/bench/frame/{donor.tag}/")
    assert f"left arm of {donor.tag} is promised" in text(client, f"/bench/frame/{frame.tag}/")


def test_double_click_makes_one_promise(client: Client, pair: Any) -> None:
    same = told(pair)
    assert [client.post(f"{PAGE}approve/", same).status_code for _ in range(2)] == [302, 302]
    assert PartPromise.objects.count() == 1


def test_withdrawing_frees_the_match_again(client: Client, pair: Any) -> None:
    client.post(f"{PAGE}approve/", told(pair))
    answer = client.post(f"{PAGE}withdraw/", told(pair))
    assert answer.status_code == 302
    assert PartPromise.objects.get().state == "withdrawn"
    assert "Keep it for this frame" in text(client, PAGE)


def test_kept_part_is_told_and_the_frame_is_ready(
    client: Client, shop: Shop, bea: User, pair: Any
) -> None:
    client.post(f"{PAGE}approve/", told(pair))
    stripped(shop, pair[0], bea)
    assert "Their parts have come" in text(client, PAGE)
    assert "was kept for it" in text(client, f"/bench/frame/{pair[1].tag}/")
    assert "2026-10" in text(client, PAGE)


@pytest.mark.parametrize(
    ("changes", "status"),
    [
        ({"component": "arm_right"}, 422),
        ({"component": "wing"}, 422),
        ({"key": ""}, 422),
        ({"frame": ""}, 422),
        ({"donor": "F-0000-0000"}, 404),
        ({"donor": "\x00"}, 422),
    ],
)
def test_bad_input_is_refused_with_words(
    client: Client, pair: Any, changes: Any, status: int
) -> None:
    assert client.post(f"{PAGE}approve/", told(pair, **changes)).status_code == status
    assert not PartPromise.objects.exists()


def test_withdrawing_what_is_not_promised_is_refused_with_words(client: Client, pair: Any) -> None:
    answer = client.post(f"{PAGE}withdraw/", told(pair))
    assert answer.status_code == 422
    assert "no open promise" in answer.content.decode()


def test_accountant_may_not(acke: User, shop: Shop, client: Client) -> None:
    client.force_login(acke)
    assert client.get(PAGE).status_code == 403
    assert client.post(f"{PAGE}approve/").status_code == 403


def test_page_says_why_both_orders_helped_as_many(
    shop: Shop, bea: User, client: Client, pair: Any
) -> None:
    with time_machine.travel(NOON + timedelta(hours=3), tick=False):
        client.force_login(bea)  # who was away for three hours is asked again
        assert "No two frames wanted the same part at the same time" in text(client, PAGE)
        needing(shop, bea)
        page = text(client, PAGE)
    assert "Parts wanted by more than one frame at the same time: 1." in page
    assert "Frames that lacked more than one part: 0." in page
