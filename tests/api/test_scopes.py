"""Who sees and does what: roles open scopes, tokens narrow them, people are for bench and owner."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from inventory.errors import BadInput
from inventory.models import AccessToken, Event
from inventory.staff.rules import tokens
from tests.api.callers import Caller, expired, machine, refused
from tests.makers import Shop, token
from tests.returns import customer_makers as customers


@pytest.fixture
def staff(bea: User, acke: User, olga: User) -> dict[str, User]:
    return {"bea": bea, "acke": acke, "olga": olga}


@pytest.mark.django_db
def test_nobody_is_told_to_sign_in_and_how() -> None:
    response = Caller().get("frames/")
    refused(response, 401, "not-signed-in")
    assert response.headers["WWW-Authenticate"] == "Bearer"


@pytest.mark.django_db
@pytest.mark.parametrize("words", ["Bearer", "Bearer hb_none", "Bearer a b", "bearer \x80", "hb_x"])
def test_a_token_that_is_none_is_refused(words: str) -> None:
    refused(Caller().get("frames/", Authorization=words), 401, "not-signed-in")


def test_a_token_narrows_the_roles_of_its_person(olga: User) -> None:
    reader = machine(olga, "read")
    assert reader.get("frames/").status_code == 200
    refused(reader.post("parcels/"), 403, "forbidden")
    refused(reader.get("tokens/"), 403, "forbidden")


def test_a_token_gives_nothing_that_its_person_may_not(bea: User) -> None:
    greedy = machine(bea, "owner", "accounts", "bench", "read", "file")
    assert greedy.post("parcels/").status_code == 201
    refused(greedy.get("tokens/"), 403, "forbidden")
    refused(greedy.post("months/2026-08/closings/"), 403, "forbidden")


def test_a_token_ends_with_its_time_its_revocation_and_its_person(bea: User) -> None:
    refused(expired(bea, "read").get("frames/"), 401, "not-signed-in")
    caller = machine(bea, "read")
    token = AccessToken.objects.order_by("-pk")[0]
    assert caller.get("frames/").status_code == 200
    tokens.revoke(token=token, at=timezone.now(), by=bea)
    refused(caller.get("frames/"), 401, "not-signed-in")
    other = machine(bea, "read")
    User.objects.filter(pk=bea.pk).update(is_active=False)
    refused(other.get("frames/"), 401, "not-signed-in")


@pytest.mark.parametrize(
    ("seconds", "status"), [(-1, 200), (0, 401), (1, 401)], ids=["before", "at", "after"]
)
def test_a_token_is_good_until_its_last_moment(
    bea: User, seconds: int, status: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    caller = machine(bea, "read")
    end = AccessToken.objects.get().expires_at
    monkeypatch.setattr(
        "inventory.furniture.api.tokens.timezone.now", lambda: end + timedelta(seconds=seconds)
    )
    assert caller.get("frames/").status_code == status


def test_only_the_hash_of_a_token_is_stored_and_its_making_is_history(bea: User) -> None:
    text = token(bea, "bench", at=timezone.now())
    row = AccessToken.objects.get()
    assert text not in str(AccessToken.objects.values().get())
    assert len(row.digest) == 64
    data = Event.objects.get(name="tokens.issue")
    assert text not in str(data.detail)


@pytest.mark.parametrize("days", [0, 367])
def test_a_token_lives_from_1_to_366_days(bea: User, days: int) -> None:
    with pytest.raises(BadInput):
        token(bea, "read", days=days, at=timezone.now())


@pytest.mark.parametrize("name", ["", " ", "a\nb", "\x00", "n" * 61])
def test_a_token_has_a_name_of_one_line(bea: User, name: str) -> None:
    with pytest.raises(BadInput):
        token(bea, "read", name=name, at=timezone.now())


def test_the_owner_makes_and_ends_tokens_signed_in_and_no_token_does(olga: User, bea: User) -> None:
    owner = Caller(user=olga)
    asked = {"name": "bench scale", "user": "bea", "scopes": ["bench"], "days": 30}
    made = owner.post("tokens/", asked, key="token-key-1").json()
    assert Caller(made["token"]).post("parcels/").status_code == 201
    again = owner.post("tokens/", asked, key="token-key-1").json()
    assert again["token"] is None
    assert again["handle"] == made["handle"]
    assert AccessToken.objects.count() == 1
    assert made["token"] not in owner.get("tokens/").content.decode()
    by_token = machine(olga, "owner")
    refused(by_token.post("tokens/", asked), 403, "forbidden")
    refused(by_token.post(f"tokens/{made['handle']}/revocations/"), 403, "forbidden")
    assert owner.post(f"tokens/{made['handle']}/revocations/").json()["revoked_at"]
    refused(Caller(made["token"]).get("parcels/"), 401, "not-signed-in")
    refused(owner.post("tokens/0/revocations/"), 404, "not-found")
    events = Event.objects.filter(subject=f"token-{made['handle']}").order_by("at", "pk")
    assert [one.name for one in events] == ["tokens.issue", "tokens.revoke"]
    assert {one.actor for one in events} == {olga}


def test_a_signed_in_person_needs_the_csrf_token_and_a_machine_does_not(bea: User) -> None:
    browser = Client(enforce_csrf_checks=True, raise_request_exception=False)
    browser.force_login(bea)
    sent: dict[str, Any] = {"content_type": "application/json", "data": "{}"}
    response = browser.post("/api/parcels/", headers={"Idempotency-Key": "12345678"}, **sent)
    refused(response, 403, "forbidden")
    response = machine(bea, "bench").post("parcels/")
    assert response.status_code == 201


@pytest.mark.parametrize(
    ("who", "scopes", "sees"),
    [
        ("bea", ("bench", "read"), True),
        ("olga", ("owner", "read"), True),
        ("bea", ("read",), False),
        ("acke", ("accounts", "read"), False),
        ("olga", ("accounts", "read"), False),
    ],
)
def test_people_are_shown_to_bench_and_owner_alone(
    shop: Shop, staff: dict[str, User], who: str, scopes: tuple[str, ...], sees: bool
) -> None:
    filed = customers.sent_back(shop)
    customers.asked_screws(shop)
    caller = machine(staff[who], *scopes)
    one = caller.get(f"requests/{filed.reference}/").json()
    assert (one["person"] is not None) == sees
    assert (one["note"] is not None) == sees
    pages = [
        caller.get(path).content.decode()
        for path in ("requests/", f"requests/{filed.reference}/", "kits/", "frames/")
    ]
    for personal in ("Wanda", "wanda@", "Towpath"):
        assert (personal in "".join(pages)) == sees


def test_lists_ask_the_database_a_number_of_times_that_does_not_grow(
    shop: Shop, bea: User, django_assert_max_num_queries: Any
) -> None:
    """Session, user, roles, savepoints, the page itself and its prefetched rows.

    Movements say how well each mass is known: eight more for the one month they are of.
    """
    for _once in range(4):
        customers.sent_back(shop)
    caller = Caller(user=bea)
    for _parcel in range(6):
        caller.post("parcels/")
    for path in ("requests/", "parcels/", "frames/", "movements/", "runs/", "balances/", "lots/"):
        with django_assert_max_num_queries(16 if path == "movements/" else 8):
            assert caller.get(path).status_code == 200
