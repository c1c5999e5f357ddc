"""From the filing to the parcel: posted, reminded, at rest, woken; how a customer is reached."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import User
from django.core import mail
from django.test import Client

from inventory import outbox
from inventory.errors import BadInput, KeyReused, StaleState
from inventory.models import Event, OutboxMessage
from returns import tasks
from returns.arriving import rules as arrivals
from returns.customers import rules as people
from returns.filing.rules import intake, reaching, underway
from returns.models import Person, Request, Terms
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import asked_screws, sent_back

pytestmark = pytest.mark.django_db

SECOND = timedelta(seconds=1)


def letters() -> list[str]:
    return [
        str(message.payload["letter"])
        for message in OutboxMessage.objects.order_by("created_at", "pk")
    ]


def after(days: int) -> timedelta:
    return timedelta(days=days)


def test_posted_keeps_the_number_and_may_be_said_again(shop: Shop) -> None:
    request, same = sent_back(shop), key()
    for _ in range(2):
        data = underway.say_posted(key=same, request=request, number=" RR 12  34 ", at=NOON)
    assert (data.sent_at, data.carrier_number) == (NOON, "RR 12 34")
    assert Event.objects.filter(name="intake.say_posted").count() == 1
    assert "RR" not in str(list(Event.objects.values()))
    with pytest.raises(KeyReused):
        underway.say_posted(key=same, request=request, number="other", at=NOON)
    assert underway.say_posted(key=key(), request=request, number="", at=NOON).carrier_number == ""


@pytest.mark.parametrize("number", ["<b>", "x" * 41, "a\u0000b", "☃", "-1"])
def test_a_number_that_no_carrier_gives_is_refused(shop: Shop, number: str) -> None:
    with pytest.raises(BadInput) as refused:
        underway.say_posted(key=key(), request=sent_back(shop), number=number, at=NOON)
    assert refused.value.field == "number"


@pytest.mark.parametrize("state", ["arrived", "resting", "withdrawn", "settled"])
def test_only_what_is_awaited_can_be_posted(shop: Shop, state: str) -> None:
    request = sent_back(shop)
    Request.objects.update(state=state)
    with pytest.raises(StaleState):
        underway.say_posted(key=key(), request=request, number="", at=NOON)


def test_a_kit_is_never_posted_to_us(shop: Shop) -> None:
    with pytest.raises(StaleState):
        underway.say_posted(key=key(), request=asked_screws(shop), number="", at=NOON)


def test_a_late_frame_is_reminded_of_once_and_then_rests(shop: Shop) -> None:
    request = sent_back(shop)
    assert underway.remind(NOON + after(14) - SECOND) == 0
    assert underway.remind(NOON + after(14)) == 1
    assert underway.remind(NOON + after(15)) == 0
    assert underway.rest(NOON + after(60) - SECOND) == 0
    assert underway.rest(NOON + after(60)) == 1
    assert underway.rest(NOON + after(61)) == 0
    request.refresh_from_db()
    assert (request.state, request.ended_at) == ("resting", NOON + after(60))
    assert letters() == ["filed", "reminder", "resting"]


def test_the_times_are_the_workshops(shop: Shop) -> None:
    Terms.the()
    Terms.objects.update(remind_days=3, rest_days=5)
    sent_back(shop)
    assert underway.remind(NOON + after(3)) == 1
    assert underway.rest(NOON + after(5)) == 1


def test_the_sweep_lets_rest_before_it_reminds(shop: Shop) -> None:
    sent_back(shop)
    done = tasks.prune(NOON + after(70))
    assert (done["resting"], done["reminded"]) == (1, 0)


def test_a_kit_neither_rests_nor_is_reminded_of(shop: Shop) -> None:
    asked_screws(shop)
    assert (underway.remind(NOON + after(400)), underway.rest(NOON + after(400))) == (0, 0)


def test_what_rests_is_woken_and_waited_for_anew(shop: Shop) -> None:
    request, same = sent_back(shop), key()
    underway.remind(NOON + after(14))
    underway.say_posted(key=key(), request=request, number="1", at=NOON + after(15))
    underway.rest(NOON + after(60))
    for _ in range(2):
        woken = underway.revive(key=same, request=request, at=NOON + after(90))
    assert (woken.state, woken.ended_at, woken.sent_at) == ("awaited", None, None)
    assert letters().count("filed") == 2
    assert underway.rest(NOON + after(149)) == 0
    assert underway.remind(NOON + after(104)) == 1
    with pytest.raises(StaleState):
        underway.revive(key=key(), request=request, at=NOON + after(105))


def test_a_woken_request_does_not_lapse_with_its_first_filing(shop: Shop) -> None:
    request = sent_back(shop)
    underway.rest(NOON + after(60))
    underway.revive(key=key(), request=request, at=NOON + after(170))
    assert intake.lapse(NOON + after(181)) == []
    assert intake.lapse(NOON + after(350)) == [request]


def test_a_parcel_wakes_what_rests(shop: Shop, bea: User) -> None:
    request = sent_back(shop)
    underway.rest(NOON + after(60))
    arrivals.book(key=key(), request=request, at=NOON + after(61), by=bea)
    request.refresh_from_db()
    assert (request.state, request.ended_at) == ("arrived", None)


def test_at_rest_the_personal_data_go_in_their_time(shop: Shop) -> None:
    sent_back(shop)
    underway.rest(NOON + after(60))
    kept = after(60 + shop.workshop.retention_days)
    assert people.expired(NOON + kept) == []
    assert len(people.expired(NOON + kept + SECOND)) == 1


def sent() -> list[tuple[str, str]]:
    for message in OutboxMessage.objects.filter(settled_at=None).order_by("created_at", "pk"):
        assert outbox.settle(message.pk, at=NOON), message.last_error
    return sorted((message.to[0], message.subject.split(",")[0]) for message in mail.outbox)


def test_both_addresses_are_told_and_the_old_one_is_forgotten(shop: Shop) -> None:
    request = sent_back(shop)
    OutboxMessage.objects.all().delete()
    changed = reaching.change_email(key=key(), request=request, email="wren@example.org", at=NOON)
    assert changed.person is not None
    assert changed.person.email == "wren@example.org"
    assert sent() == [
        ("wanda@example.org", "We write to another email from now on"),
        ("wren@example.org", "We write to this email from now on"),
    ]
    assert Person.objects.get().former_email == ""
    assert "example.org" not in str(list(Event.objects.values()))


def test_of_two_changes_the_first_address_is_told(shop: Shop) -> None:
    request = sent_back(shop)
    OutboxMessage.objects.all().delete()
    for email in ("one@example.org", "two@example.org"):
        request.refresh_from_db()
        reaching.change_email(key=key(), request=request, email=email, at=NOON)
    data = [to for to, subject in sent() if "another" in subject]
    assert data == ["wanda@example.org"]


@pytest.mark.parametrize("email", ["", "wanda", "wanda@example.org", "a@b.c\nBcc: x@example.org"])
def test_an_email_that_will_not_do_is_refused(shop: Shop, email: str) -> None:
    with pytest.raises(BadInput) as refused:
        reaching.change_email(key=key(), request=sent_back(shop), email=email, at=NOON)
    assert refused.value.field == "email"


def test_an_erased_person_is_not_reached(shop: Shop) -> None:
    request = intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    people.erase(key=key(), person=request.person, at=NOON)  # type: ignore[arg-type]
    request.refresh_from_db()
    for rule, facts in (
        (reaching.change_email, {"email": "a@example.org"}),
        (reaching.send_again, {}),
    ):
        with pytest.raises(StaleState):
            rule(key=key(), request=request, at=NOON, **facts)  # type: ignore[operator]


@pytest.mark.parametrize(
    ("state", "letter"), [("awaited", "filed"), ("arrived", "find_link"), ("settled", "find_link")]
)
def test_the_mail_is_sent_again_with_what_is_true_now(shop: Shop, state: str, letter: str) -> None:
    request = sent_back(shop)
    Request.objects.update(state=state)
    OutboxMessage.objects.all().delete()
    request.refresh_from_db()
    reaching.send_again(key=key(), request=request, at=NOON)
    assert letters() == [letter]


@pytest.mark.parametrize("page", ["email", "again"])
def test_mails_on_demand_are_few(client: Client, shop: Shop, page: str) -> None:
    link = f"/story/{intake.link_secret(sent_back(shop))}/{page}/"
    codes = [
        client.post(link, {"key": key(), "email": f"w{number}@example.org"}).status_code
        for number in range(6)
    ]
    assert codes == [302] * 5 + [429]


def test_the_pages_do_what_their_buttons_say(client: Client, shop: Shop) -> None:
    request = sent_back(shop)
    link = f"/story/{intake.link_secret(request)}/"
    assert client.get(f"{link}posted/").status_code == 200
    bad = client.post(f"{link}posted/", {"key": key(), "number": "☃"})
    assert "carrier" in bad.content.decode()
    assert client.post(f"{link}posted/", {"key": key(), "number": "RR 1"}).status_code == 302
    assert "RR 1" in client.get(link).content.decode()
    Request.objects.update(state="resting", ended_at=NOON)
    assert client.get(f"{link}wake/").status_code == 200
    assert client.post(f"{link}wake/", {"key": key()}).status_code == 302
    request.refresh_from_db()
    assert request.state == "awaited"


def test_the_bench_sees_what_is_under_way(client: Client, shop: Shop, bea: User) -> None:
    request = sent_back(shop)
    client.force_login(bea)
    assert request.reference not in client.get("/bench/?step=underway").content.decode()
    underway.say_posted(key=key(), request=request, number="RR 12", at=NOON)
    page = client.get("/bench/?step=underway").content.decode()
    assert request.reference in page
    assert "RR 12" in page
    Request.objects.update(state="arrived")
    assert request.reference not in client.get("/bench/?step=underway").content.decode()
