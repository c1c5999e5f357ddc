"""Idempotency-Key: the same request is done once and answered alike."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.utils import timezone

from inventory.furniture.api import idempotency
from inventory.models import RequestKey
from returns import tasks
from returns.models import Parcel
from tests.api.callers import Caller, machine, refused

# Two databases decide differently who came first.
pytestmark = pytest.mark.both
KEY = "a-key-of-our-own"


def test_the_same_key_and_body_give_the_same_answer_and_one_parcel(bea: User) -> None:
    caller = Caller(user=bea)
    first = caller.post("parcels/", {}, key=KEY)
    again = caller.post("parcels/", {}, key=KEY)
    assert (first.status_code, again.status_code) == (201, 201)
    assert first.json() == again.json()
    assert again.headers["Idempotency-Replayed"] == "true"
    assert "Idempotency-Replayed" not in first.headers
    assert Parcel.objects.count() == 1


def test_the_same_key_with_another_body_is_refused(bea: User) -> None:
    caller = Caller(user=bea)
    caller.post("parcels/", {}, key=KEY)
    refused(caller.post("parcels/", {"request": None}, key=KEY), 422, "key-reused")


def test_no_key_or_one_of_7_or_201_characters_is_refused(bea: User) -> None:
    caller = Caller(user=bea)
    response = caller.client.post("/api/parcels/", "{}", content_type="application/json")
    refused(response, 400, "key-missing")
    for length, status in ((7, 400), (8, 201), (200, 201), (201, 400)):
        assert caller.post("parcels/", {}, key="k" * length).status_code == status
    refused(caller.post("parcels/", {}, key="with a space"), 400, "key-missing")


def test_a_key_that_is_still_in_flight_is_refused_and_taken_over_when_it_was_left(
    bea: User,
) -> None:
    caller = Caller(user=bea)
    caller.post("parcels/", {}, key=KEY)
    rows = RequestKey.objects.all()
    rows.update(status=None, body=None)
    refused(caller.post("parcels/", {}, key=KEY), 409, "key-in-flight")
    rows.update(created_at=timezone.now() - idempotency.TAKEN_OVER_AFTER - timedelta(seconds=1))
    assert caller.post("parcels/", {}, key=KEY).status_code == 201
    # The rule met its own key again: still one parcel.
    assert Parcel.objects.count() == 1


def test_a_refused_request_may_be_mended_and_sent_again_under_its_key(bea: User) -> None:
    caller = Caller(user=bea)
    refused(caller.post("parcels/", {"request": "Q-2222-2222"}, key=KEY), 400, "bad-input")
    assert caller.post("parcels/", {}, key=KEY).status_code == 201


def test_two_callers_may_use_the_same_key(bea: User, ben: User) -> None:
    for user in (bea, ben):
        assert Caller(user=user).post("parcels/", {}, key=KEY).status_code == 201
    assert machine(bea, "bench").post("parcels/", {}, key=KEY).status_code == 201
    assert Parcel.objects.count() == 3


def test_an_answer_is_forgotten_after_its_time(bea: User) -> None:
    Caller(user=bea).post("parcels/", {}, key=KEY)
    now = timezone.now()
    assert idempotency.prune(now + idempotency.KEPT - timedelta(minutes=1)) == 0
    assert idempotency.prune(now + idempotency.KEPT + timedelta(minutes=1)) == 1


def test_the_periodic_work_forgets_old_answers_and_keeps_fresh_ones(bea: User) -> None:
    caller = Caller(user=bea)
    caller.post("parcels/", {}, key=KEY)
    RequestKey.objects.update(expires_at=timezone.now() - timedelta(seconds=1))
    caller.post("parcels/", {}, key="another-key")
    tasks.prune_expired()
    assert [row.key for row in RequestKey.objects.all()] == ["another-key"]
