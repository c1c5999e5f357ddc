"""A frame taken in with one press: booked, weighed in and finished, all of it or nothing."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput, StaleState
from inventory.models import Event, OutboxMessage
from returns.arriving import rules as arriving
from returns.arriving.rules import Arrival
from returns.letters import delivery
from returns.models import Parcel, ReturnedFrame, Terms
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import booked, filed, weighing

pytestmark = pytest.mark.django_db


def test_a_slip_is_booked_weighed_in_and_finished_once(shop: Shop, bea: User) -> None:
    request, one = filed(shop.avocet_slate), key()
    arrival = Arrival(weighing=weighing(shop, request=request), is_last=True)
    frames = {
        arriving.take_in(key=one, arrival=arrival, at=NOON, by=bea).tag for _press in range(2)
    }
    assert len(frames) == 1
    assert Parcel.objects.get().request == request
    assert Parcel.objects.get().done_at == NOON
    names = ["arrivals.book", "arrivals.weigh_in", "arrivals.finish"]
    assert list(Event.objects.order_by("pk").values_list("name", flat=True)) == names


def test_what_is_wrong_with_the_mass_books_no_parcel(shop: Shop, bea: User) -> None:
    arrival = Arrival(weighing=weighing(shop, mass="2.431", request=filed(shop.avocet_slate)))
    with pytest.raises(BadInput):
        arriving.take_in(key=key(), arrival=arrival, at=NOON, by=bea)
    assert not Parcel.objects.exists()
    assert not Event.objects.exists()


def test_without_the_last_word_the_parcel_stays_open(shop: Shop, bea: User) -> None:
    parcel = booked(bea)
    arrival = Arrival(weighing=weighing(shop), parcel=parcel)
    for _frame in range(2):
        arriving.take_in(key=key(), arrival=arrival, at=NOON, by=bea)
    assert Parcel.objects.get().done_at is None
    assert ReturnedFrame.objects.count() == 2


def test_an_empty_parcel_that_is_opened_again_is_told_once_if_it_stays_empty(
    shop: Shop, bea: User, mailoutbox: list[object]
) -> None:
    parcel = booked(bea, filed(shop.avocet_slate))
    arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    arriving.reopen(key=key(), parcel=parcel, at=NOON, by=bea)
    owed = OutboxMessage.objects.filter(payload__letter="empty")
    delivery.send(owed.get())
    assert mailoutbox == []
    assert Parcel.objects.get().request.state == "arrived"  # type: ignore[union-attr]
    arriving.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    for message in owed:
        delivery.send(message)
    assert (owed.count(), len(mailoutbox)) == (2, 1)


def test_only_a_parcel_that_was_empty_is_opened_again(shop: Shop, bea: User) -> None:
    parcel = booked(bea)
    with pytest.raises(StaleState):
        arriving.reopen(key=key(), parcel=parcel, at=NOON, by=bea)
    arriving.take_in(
        key=key(),
        arrival=Arrival(weighing=weighing(shop), parcel=parcel, is_last=True),
        at=NOON,
        by=bea,
    )
    with pytest.raises(StaleState):
        arriving.reopen(key=key(), parcel=parcel, at=NOON, by=bea)


def test_the_page_asks_itself_whether_a_parcel_was_empty(
    client: Client, shop: Shop, bea: User
) -> None:
    client.force_login(bea)
    parcel = booked(bea, filed(shop.avocet_slate))
    address = reverse("parcel", args=[parcel.code])
    assert "data-confirm" not in client.get(address).content.decode()
    asked = client.get(f"{address}?empty=1").content.decode()
    assert f"told in {Terms.the().letter_wait_minutes} minutes" in asked
    client.post(reverse("parcel-finish", args=[parcel.code]), {"key": key()})
    assert "It was not empty: open it again" in client.get(address).content.decode()
    client.post(reverse("parcel-reopen", args=[parcel.code]), {"key": key()})
    assert Parcel.objects.get().done_at is None
