"""The owner finds a customer by name or email; the history keeps who did, and why."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory.errors import AppendOnly, BadInput, KeyReused
from inventory.models import Event
from returns.customers import rules as people
from returns.filing.rules import intake
from returns.models import Request
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, sent_back

pytestmark = pytest.mark.django_db

WHY = "has lost the reference"


def search(olga: User, wanted: str, reason: str = WHY) -> list[str]:
    found = people.search(key=key(), wanted=wanted, reason=reason, at=NOON, by=olga)
    return [request.reference for request in found]


@pytest.mark.parametrize(
    "wanted", ["Özil", "öZIL", "zil-Gr", "  özil-groß ", "OE@example", "oe@EXAMPLE.org"]
)
def test_found_by_a_piece_of_name_or_email(shop: Shop, olga: User, wanted: str) -> None:
    contact = replace(WANDA, name="Ada Özil-Groß", email="oe@example.org")
    request = sent_back(shop, contact=contact)
    sent_back(shop)
    assert search(olga, wanted) == [request.reference]


@pytest.mark.parametrize(
    ("wanted", "reason", "field"),
    [
        ("re", WHY, "wanted"),
        ("r" * 101, WHY, "wanted"),
        ("reed", "why?", "reason"),
        ("reed", "x" * 201, "reason"),
        ("reed", "Wanda Reed asks", "reason"),
    ],
)
def test_a_search_needs_a_name_and_a_reason(
    shop: Shop, olga: User, wanted: str, reason: str, field: str
) -> None:
    with pytest.raises(BadInput) as slip:
        search(olga, wanted, reason)
    assert slip.value.field == field
    assert not Event.objects.filter(name=people.SEARCH).exists()


@pytest.mark.parametrize(("wanted", "reason"), [("ree", WHY), ("r" * 100, "x" * 200)])
def test_limits_themselves_pass(shop: Shop, olga: User, wanted: str, reason: str) -> None:
    search(olga, wanted, reason)


def test_the_history_keeps_who_when_why_and_not_what_was_typed(shop: Shop, olga: User) -> None:
    request = sent_back(shop)
    search(olga, "Wanda")
    log = Event.objects.get(name=people.SEARCH)
    assert (log.actor, log.at) == (olga, NOON)
    assert log.detail == {"reason": WHY, "found": [request.reference]}
    assert "anda" not in str(Event.objects.filter(pk=log.pk).values())
    with pytest.raises(AppendOnly):
        log.delete()


def test_another_name_under_a_used_key_is_refused(shop: Shop, olga: User) -> None:
    one = key()
    people.search(key=one, wanted="Wanda", reason=WHY, at=NOON, by=olga)
    with pytest.raises(KeyReused):
        people.search(key=one, wanted="Pim", reason=WHY, at=NOON, by=olga)


def test_who_was_erased_is_found_no_more(shop: Shop, olga: User) -> None:
    request = intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    assert search(olga, "Wanda") == [request.reference]
    assert request.person is not None
    people.erase(key=key(), person=request.person, at=NOON)
    assert search(olga, "Wanda") == []


def test_owner_searches_on_the_page_and_reads_who_has(owner: Client, shop: Shop, bea: User) -> None:
    reference = sent_back(shop).reference
    body = {"key": str(key()), "wanted": "wanda@", "reason": WHY}
    answer = owner.post("/owner/personal/search/", body)
    assert f"/owner/personal/{reference}/" in answer.content.decode()
    assert answer.headers["Cache-Control"] == "no-store"
    log = owner.get("/owner/personal/searches/").content.decode()
    assert WHY in log
    assert reference in log
    assert "wanda@" not in log
    hand = Client()
    hand.force_login(bea)
    for path in ("search/", "searches/"):
        assert hand.get(f"/owner/personal/{path}").status_code == 403
    assert hand.post("/owner/personal/search/", body).status_code == 403
    assert Request.objects.count() == 1
