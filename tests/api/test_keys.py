"""Idempotency-Key: the same request is done once and answered alike."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.db import connection
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


@pytest.mark.skipif(connection.vendor == "sqlite", reason="its one writer waits before the claim")
@pytest.mark.django_db(transaction=True)
def test_a_key_that_is_still_in_flight_is_refused_and_free_once_its_process_is_dead(
    bea: User,
) -> None:
    caller = Caller(user=bea)
    caller.post("parcels/", {}, key=KEY)
    row = RequestKey.objects.values().get()
    RequestKey.objects.all().delete()
    other = connection.copy()
    other.set_autocommit(False)
    with other.cursor() as cursor, connection.cursor() as mine:
        columns = [name for name in row if row[name] is not None and name != "body"]
        names, marks = ", ".join(columns), ", ".join(["%s"] * len(columns))
        cursor.execute(
            f"INSERT INTO inventory_requestkey ({names}) VALUES ({marks})",
            [row[name] for name in columns],
        )
        mine.execute("SET lock_timeout = '50ms'")
        refused(caller.post("parcels/", {}, key=KEY), 409, "key-in-flight")
        mine.execute("RESET lock_timeout")
    # What the server does with the work of a client that is gone.
    other.rollback()
    other.close()
    assert caller.post("parcels/", {}, key=KEY).status_code == 201
    # The rule met its own key again: still one parcel.
    assert Parcel.objects.count() == 1


def test_a_request_that_fails_half_way_frees_its_key(
    bea: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    caller = Caller(user=bea)
    caller.client.raise_request_exception = False
    with monkeypatch.context() as broken:
        broken.delattr(idempotency, "_plain")
        assert caller.post("parcels/", {}, key=KEY).status_code == 500
    assert not RequestKey.objects.exists()
    assert not Parcel.objects.exists()
    assert caller.post("parcels/", {}, key=KEY).status_code == 201


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
