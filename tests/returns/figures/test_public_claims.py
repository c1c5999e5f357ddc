"""The public page of claims: off by default, opened by the owner, and never more than is proved."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.models import Event, Workshop
from inventory.months import rules as months
from returns.models import Parcel
from tests.makers import Shop, key
from tests.returns import owner_makers as made

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("still_clock")]

NOW = datetime(2026, 11, 20, 9, 0, tzinfo=UTC)
ADDRESSES = ("/claims/", "/claims/claims.json")


@pytest.fixture
def everybody() -> Client:
    return Client()


@pytest.fixture
def closed(shop: Shop, acke: User) -> Shop:
    """Two returns in October of eighty sold; closed up to then."""
    made.sold(shop.batch, m2026_09=80, m2026_10=0)
    for _ in range(2):
        made.posted(shop)
    Parcel.objects.update(content=Parcel.Content.FRAMES, done_at=NOW)
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=NOW, by=acke)
    return shop


def turn(owner: Client, action: str, facts: dict[str, Any] | None = None) -> Any:
    sent = facts if facts is not None else {"key": str(uuid.uuid4())}
    return owner.post(f"/owner/claims/{action}/", sent, follow=True)


def plain(answer: Any) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", answer.content.decode()))


@pytest.mark.parametrize("address", ADDRESSES)
def test_the_page_is_not_there_until_the_owner_opens_it(
    everybody: Client, owner: Client, closed: Shop, address: str
) -> None:
    assert everybody.get(address).status_code == 404
    assert 'href="/claims/"' not in everybody.get("/").content.decode()
    turn(owner, "publish")
    assert everybody.get(address).status_code == 200
    assert 'href="/claims/"' in everybody.get("/").content.decode()
    turn(owner, "withdraw")
    assert everybody.get(address).status_code == 404
    assert 'href="/claims/"' not in everybody.get("/").content.decode()


def test_opening_is_one_event_however_often_it_is_sent(owner: Client, shop: Shop) -> None:
    facts = {"key": str(uuid.uuid4())}
    for _ in range(2):
        assert "The public page is open." in plain(turn(owner, "publish", facts))
    action = Event.objects.get(name="claims.open")
    assert (action.actor.username, action.at) == ("olga", NOW)  # type: ignore[union-attr]
    again = turn(owner, "withdraw", facts)
    assert "could not be done" in plain(again)
    assert Workshop.the().public_page


def test_the_buttons_own_form_opens_the_page(owner: Client, shop: Shop) -> None:
    page = owner.get("/owner/claims/").content.decode()
    form = page[page.index("/owner/claims/publish/") :]
    key = re.search(r'name="key" value="([^"]+)"', form)
    assert key is not None
    turn(owner, "publish", {"key": key[1]})
    assert Workshop.the().public_page


@pytest.mark.parametrize("facts", [{}, {"key": "no"}])
def test_a_form_without_its_key_changes_nothing(
    owner: Client, shop: Shop, facts: dict[str, str]
) -> None:
    assert "could not be done" in plain(turn(owner, "publish", facts))
    assert not Workshop.the().public_page


def test_only_what_has_its_evidence_is_said(everybody: Client, owner: Client, closed: Shop) -> None:
    turn(owner, "publish")
    page = plain(everybody.get("/claims/"))
    assert "2.5 % came back to us (range 0.7 to 8.7 %), of 80 units sold" in page
    assert "Does not cover frames that came back a second time, own rejects that were" in page
    assert "were mended" not in page
    assert "not enough evidence to state" not in page


def test_machines_read_the_same(everybody: Client, owner: Client, closed: Shop) -> None:
    turn(owner, "publish")
    data = everybody.get("/claims/claims.json").json()
    assert (data["first_month"], data["last_month"]) == ("2026-08", "2026-10")
    assert len(data["last_month_digest"]) == 64
    (claim,) = data["claims"]
    assert claim["key"] == "take_back_rate"
    assert claim["figure_percent"] == 2.5
    assert claim["range_percent"] == pytest.approx([0.69, 8.66], abs=0.01)
    page = re.sub(r"</?span[^>]*>", "", everybody.get("/claims/").content.decode())
    assert claim["sentence"] in page.replace("&#x27;", "'")
    assert everybody.get(claim["method_address"]).status_code == 200
    anchor = claim["method_address"].rpartition("#")[2]
    assert f'id="{anchor}"' in everybody.get("/method/").content.decode()


def test_an_open_month_is_not_told(everybody: Client, owner: Client, closed: Shop) -> None:
    turn(owner, "publish")
    before = everybody.get("/claims/claims.json").json()
    for _ in range(3):
        made.posted(closed, at=NOW, days=0)
    assert everybody.get("/claims/claims.json").json() == before


def test_without_a_closed_month_there_is_nothing_to_prove(
    everybody: Client, owner: Client, shop: Shop
) -> None:
    turn(owner, "publish")
    assert "No month is closed yet" in plain(everybody.get("/claims/"))
    data = everybody.get("/claims/claims.json").json()
    assert (data["last_month"], data["claims"]) == (None, [])
    assert "no month is closed" in plain(owner.get("/owner/claims/"))
