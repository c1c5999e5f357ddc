"""Spare kits: reserving, limits, waiting, posting, losing, posting again."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest
from django.contrib.auth.models import User

from inventory.errors import BadInput, Conflict, NotEnough, StaleState
from inventory.models import Balance, Movement, OutboxMessage, PlaceKind
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.customers import rules as people
from returns.filing.rules import intake
from returns.kits import queries as kit_stock
from returns.kits.rules import kits
from returns.models import Dispatch, Policy, Request
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, asked_screws

pytestmark = pytest.mark.django_db


def letters_owed() -> list[str]:
    return [
        message.payload["letter"] for message in OutboxMessage.objects.order_by("created_at", "pk")
    ]


def drain(shop: Shop, *, leave: int) -> None:
    stock.count(key=key(), part=shop.screw, counted=leave, reason="counted", at=NOON)


def test_contents_come_from_the_bill_of_materials(shop: Shop) -> None:
    assert kit_stock.contents(shop.avocet) == {shop.screw: 2}


def test_asking_promises_the_kit_but_takes_nothing_out_yet(shop: Shop) -> None:
    request = asked_screws(shop)
    assert (request.state, request.promised_by) == ("reserved", date(2026, 10, 17))
    assert (part_stock.held(shop.screw), part_stock.available(shop.screw)) == (100, 98)


def test_model_without_kit_is_refused(shop: Shop) -> None:
    shop.avocet.components.update(in_kit=False)
    with pytest.raises(BadInput) as refused:
        asked_screws(shop)
    assert refused.value.field == "colourway"


@pytest.mark.parametrize(("leave", "state"), [(1, "waiting_stock"), (2, "reserved")])
def test_kit_waits_when_one_piece_is_short(shop: Shop, leave: int, state: str) -> None:
    drain(shop, leave=leave)
    request = asked_screws(shop)
    assert request.state == state
    assert part_stock.promised(shop.screw) == (2 if state == "reserved" else 0)


def test_waiting_kits_are_reserved_oldest_first_when_stock_comes(shop: Shop) -> None:
    drain(shop, leave=0)
    first = asked_screws(shop)
    other = replace(WANDA, email="otto@example.org")
    second = asked_screws(shop, contact=other, at=NOON + timedelta(hours=1))
    stock.receive(key=key(), part=shop.screw, pieces=3, cost_minor=0, at=NOON)
    assert kits.reserve_waiting(NOON + timedelta(days=2)) == [first]
    assert kits.reserve_waiting(NOON + timedelta(days=2)) == []
    assert list(kit_stock.waiting()) == [second]
    assert list(kit_stock.to_post()) == [first]
    assert letters_owed().count("kit_reserved") == 1


def test_third_kit_in_the_span_is_refused_and_allowed_after_it(shop: Shop) -> None:
    asked_screws(shop)
    asked_screws(shop, contact=replace(WANDA, email="WANDA@example.org"))
    with pytest.raises(BadInput):
        asked_screws(shop)
    later = NOON + timedelta(days=Policy.the().kits_days)
    with pytest.raises(BadInput):
        asked_screws(shop, at=later - timedelta(seconds=1))
    assert asked_screws(shop, at=later).state == "reserved"


def test_withdrawn_kit_frees_its_screws_and_does_not_count(shop: Shop) -> None:
    for _ in range(3):
        intake.withdraw(key=key(), request=asked_screws(shop), at=NOON)
    assert part_stock.available(shop.screw) == 100
    assert asked_screws(shop).state == "reserved"


def test_posting_takes_the_pieces_out_of_the_bin_once(shop: Shop, bea: User) -> None:
    request, same = asked_screws(shop), key()
    first = kits.post(key=same, request=request, at=NOON, by=bea)
    again = kits.post(key=same, request=request, at=NOON, by=bea)
    assert first == again
    movement = Movement.objects.get(kind="post_kit")
    assert movement.subject == request.reference
    assert (part_stock.held(shop.screw), part_stock.promised(shop.screw)) == (98, 0)
    outside = Balance.objects.get(place__kind=PlaceKind.WEARERS, place__unit="pc")
    assert outside.quantity == 2
    request.refresh_from_db()
    assert (request.state, request.posted_at) == ("posted", NOON)


def test_posting_again_under_another_key_is_refused(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    with pytest.raises(StaleState):
        kits.post(key=key(), request=request, at=NOON, by=bea)
    assert part_stock.held(shop.screw) == 98


def test_waiting_kit_cannot_be_posted(shop: Shop, bea: User) -> None:
    drain(shop, leave=0)
    with pytest.raises(StaleState):
        kits.post(key=key(), request=asked_screws(shop), at=NOON, by=bea)


def test_bin_that_holds_less_than_promised_refuses_and_puts_back(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    drain(shop, leave=1)
    with pytest.raises(NotEnough):
        kits.post(key=key(), request=request, at=NOON, by=bea)
    request.refresh_from_db()
    assert request.state == "reserved"
    assert not Dispatch.objects.exists()
    kits.put_back(key=key(), request=request, at=NOON, by=bea)
    assert (request.state, part_stock.promised(shop.screw)) == ("waiting_stock", 0)


def test_kit_of_an_erased_person_is_not_posted(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    people._blank(request.person, NOON)  # type: ignore[arg-type]
    with pytest.raises(Conflict):
        kits.post(key=key(), request=request, at=NOON, by=bea)


def test_missing_kit_is_posted_again_from_stock(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    intake.report_missing(key=key(), request=request, at=NOON)
    assert list(kit_stock.missing()) == [request]
    assert Dispatch.objects.get().missing_reported_at == NOON
    kits.repost(key=key(), request=request, at=NOON, by=bea)
    assert request.state == "reserved"
    kits.post(key=key(), request=request, at=NOON, by=bea)
    assert part_stock.held(shop.screw) == 96
    assert Dispatch.objects.count() == 2


def test_repost_of_a_kit_that_is_not_missing_promises_nothing(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    with pytest.raises(StaleState):
        kits.repost(key=key(), request=request, at=NOON, by=bea)
    assert part_stock.promised(shop.screw) == 0


def test_missing_kit_that_turned_up_ends_the_story(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    kits.report_missing(key=key(), request=request, at=NOON)
    kits.turned_up(key=key(), request=request, at=NOON, by=bea)
    assert (request.state, request.ended_at) == ("settled", NOON)


def test_posted_kit_settles_when_nobody_reports_it(shop: Shop, bea: User) -> None:
    request = asked_screws(shop)
    kits.post(key=key(), request=request, at=NOON, by=bea)
    assert kits.settle_posted(NOON + kit_stock.SETTLED_AFTER - timedelta(seconds=1)) == 0
    assert kits.settle_posted(NOON + kit_stock.SETTLED_AFTER) == 1
    assert Request.objects.get().state == "settled"
