"""An address of an action takes no GET: nobody may end there on an empty page."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

import pytest
from django.contrib.auth.models import User
from django.test import Client

pytestmark = pytest.mark.django_db

ACTION = "/bench/frame/F-2222-2222/unweigh/"
PAGE = "/bench/frame/F-2222-2222/"


@pytest.mark.parametrize(
    ("sent_from", "way"),
    [
        (f"http://testserver{PAGE}?a=1#undo", f"{PAGE}?a=1"),
        (f"http://elsewhere.example.org{PAGE}", "/desk/"),
        ("", "/desk/"),
    ],
)
def test_who_is_signed_out_meanwhile_comes_back_to_the_page_of_the_action(
    client: Client, sent_from: str, way: str
) -> None:
    answer = client.post(ACTION, {"reason": "wrong"}, headers={"referer": sent_from})
    assert answer.status_code == 302
    assert parse_qs(urlsplit(answer.headers["Location"]).query)["next"] == [way]


def test_who_only_reads_goes_on_to_what_was_asked_for(client: Client) -> None:
    answer = client.get(f"{PAGE}?a=1")
    assert parse_qs(urlsplit(answer.headers["Location"]).query)["next"] == [f"{PAGE}?a=1"]


def test_address_of_an_action_opened_by_hand_is_a_page_with_a_way_on(
    client: Client, bea: User
) -> None:
    client.force_login(bea)
    answer = client.get(ACTION)
    assert (answer.status_code, answer.headers["Allow"]) == (405, "POST")
    assert 'href="/desk/"' in answer.content.decode()
