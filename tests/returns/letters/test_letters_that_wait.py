"""A letter about what may be taken back waits, and is not sent when it was."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.core import mail

from inventory import outbox
from inventory.models import OutboxMessage
from returns.arriving import rules as arrivals
from returns.letters import rules as letters
from returns.models import Grading, Parcel, Request, ReturnedFrame, Terms
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import arrived, sent_back

pytestmark = pytest.mark.django_db


def decided(frame: ReturnedFrame, bea: User, outcome: str, state: str) -> OutboxMessage:
    Grading.objects.create(frame=frame, computed=outcome, decided=outcome, sums={}, at=NOON, by=bea)
    ReturnedFrame.objects.filter(pk=frame.pk).update(state=state)
    letter = "held" if outcome == "hold" else "graded"
    assert frame.request is not None
    return letters.enqueue(letter=letter, request=frame.request, frame=frame, at=NOON)


def settled(message: OutboxMessage) -> list[str]:
    """The subjects of the mails that settling a duty sends."""
    before = len(mail.outbox)
    assert outbox.settle(message.pk, at=NOON)
    return [message.subject for message in mail.outbox[before:]]


@pytest.mark.parametrize("minutes", [0, 10, 30])
def test_a_decision_is_told_when_its_time_has_come(shop: Shop, bea: User, minutes: int) -> None:
    Terms.the()
    Terms.objects.update(letter_wait_minutes=minutes)
    owed = decided(arrived(shop, sent_back(shop)), bea, "repair", "to_mend")
    OutboxMessage.objects.exclude(pk=owed.pk).delete()
    wait = timedelta(minutes=minutes)
    assert outbox.due(NOON + wait) == [owed.pk]
    assert outbox.due(NOON + wait - timedelta(microseconds=1)) == []


def test_of_two_decisions_in_a_row_the_last_alone_is_told(shop: Shop, bea: User) -> None:
    frame = arrived(shop, sent_back(shop))
    first = decided(frame, bea, "repair", "to_mend")
    second = decided(frame, bea, "regrind", "to_strip")
    assert settled(first) == []
    assert "cannot be mended" in settled(second)[0]


def test_a_decision_that_no_longer_stands_is_not_told(shop: Shop, bea: User) -> None:
    frame = arrived(shop, sent_back(shop))
    owed = decided(frame, bea, "hold", "held")
    ReturnedFrame.objects.update(state="weighed")
    assert settled(owed) == []


def test_a_decision_that_was_overtaken_by_the_post_is_not_told(shop: Shop, bea: User) -> None:
    owed = decided(arrived(shop, sent_back(shop)), bea, "repair", "to_mend")
    ReturnedFrame.objects.update(state="posted")
    assert settled(owed) == []


def weighed(shop: Shop, bea: User, parcel: Parcel, request: Request, mass: str) -> ReturnedFrame:
    data = arrivals.WeighIn(
        scale=shop.fine_scale,
        mass=mass,
        cleaned=True,
        colourway=shop.avocet_slate,
        request=request,
    )
    return arrivals.weigh_in(key=key(), parcel=parcel, weighing=data, at=NOON, by=bea)


def arrivals_owed() -> list[OutboxMessage]:
    return [
        one for one in OutboxMessage.objects.order_by("pk") if one.payload["letter"] == "arrived"
    ]


def test_an_arrival_is_told_by_the_weigh_in_once_for_all_frames(shop: Shop, bea: User) -> None:
    request = sent_back(shop)
    parcel = arrivals.book(key=key(), request=request, at=NOON, by=bea)
    weighed(shop, bea, parcel, request, "22.40")
    weighed(shop, bea, parcel, request, "21.90")
    [owed] = arrivals_owed()
    arrivals.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    assert arrivals_owed() == [owed]
    assert "has arrived" in settled(owed)[0]


@pytest.mark.parametrize(
    ("state", "is_told", "is_next"),
    [("weighed", True, True), ("mending", True, False), ("posted", False, False)],
)
def test_an_arrival_says_what_is_true_when_it_is_read(
    shop: Shop, bea: User, state: str, is_told: bool, is_next: bool
) -> None:
    request = sent_back(shop)
    parcel = arrivals.book(key=key(), request=request, at=NOON, by=bea)
    weighed(shop, bea, parcel, request, "22.40")
    ReturnedFrame.objects.update(state=state)
    [owed] = arrivals_owed()
    assert bool(settled(owed)) == is_told
    if is_told:
        assert ("Next we look it over" in str(mail.outbox[-1].body)) == is_next


def test_an_undone_weigh_in_is_not_told_and_a_new_one_is_told_once(shop: Shop, bea: User) -> None:
    request = sent_back(shop)
    parcel = arrivals.book(key=key(), request=request, at=NOON, by=bea)
    frame = weighed(shop, bea, parcel, request, "22.40")
    [first] = arrivals_owed()
    arrivals.unweigh(key=key(), frame=frame, reason="Read it wrongly", at=NOON, by=bea)
    assert settled(first) == []
    again = weighed(shop, bea, parcel, request, "22.50")
    second = next(one for one in arrivals_owed() if one != first)
    assert len(settled(second)) == 1
    arrivals.unweigh(key=key(), frame=again, reason="And again", at=NOON, by=bea)
    weighed(shop, bea, parcel, request, "22.60")
    third = next(one for one in arrivals_owed() if one not in (first, second))
    assert settled(third) == []


def test_an_empty_parcel_that_was_not_empty_is_not_told(shop: Shop, bea: User) -> None:
    request = sent_back(shop)
    parcel = arrivals.book(key=key(), request=request, at=NOON, by=bea)
    arrivals.finish(key=key(), parcel=parcel, at=NOON, by=bea)
    empty: Any = OutboxMessage.objects.get(payload__letter="empty")
    second = arrivals.book(key=key(), request=request, at=NOON, by=bea)
    weighed(shop, bea, second, request, "22.40")
    assert settled(empty) == []
