"""Letters: what the owner sees of each, trying again, and no page that promises one in vain."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client

from inventory import outbox
from inventory.models import OutboxMessage
from returns.filing.rules import intake
from returns.letters import rules as letters
from returns.letters.pages import NAMES
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import sent_back

pytestmark = pytest.mark.django_db


@pytest.fixture
def owner(client: Client, olga: User) -> Client:
    client.force_login(olga)
    return client


def text(client: Client, path: str) -> str:
    page = client.get(path).content.decode()
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


def given_up(shop: Shop) -> OutboxMessage:
    sent_back(shop)
    message = OutboxMessage.objects.get(given_up_at=None)
    OutboxMessage.objects.filter(pk=message.pk).update(
        given_up_at=NOON, tries=outbox.TRIES_MAX, last_error="NotPosted: ConnectionRefusedError"
    )
    return message


def test_every_letter_has_a_name() -> None:
    assert set(NAMES) == letters.LETTERS


def test_desk_warns_in_red_of_what_was_given_up_and_a_button_sends_it(
    owner: Client, shop: Shop
) -> None:
    message = given_up(shop)
    assert "at once 1 letter or report was tried for five days and given up" in text(
        owner, "/desk/"
    )
    assert "ConnectionRefusedError" in text(owner, "/owner/letters/")
    form = {"key": str(key()), "message": str(message.pk)}
    for _press in range(2):
        assert owner.post("/owner/letters/again/", form).status_code == 302
    message.refresh_from_db()
    assert (message.given_up_at, message.tries) == (None, 0)
    assert outbox.settle(message.pk, at=NOON)
    assert "given up" not in text(owner, "/desk/")


def test_one_press_tries_all_that_were_given_up(owner: Client, shop: Shop) -> None:
    given_up(shop)
    given_up(shop)
    page = owner.get("/owner/letters/").content.decode()
    assert "Try all 2 that were given up again" in page
    owner.post("/owner/letters/again/", {"key": str(key())})
    assert not OutboxMessage.objects.exclude(given_up_at=None).exists()


def test_each_state_is_told(owner: Client, shop: Shop) -> None:
    sent_back(shop)
    assert "waits" in text(owner, "/owner/letters/")
    message = OutboxMessage.objects.get()
    OutboxMessage.objects.update(tries=6, last_error="NotPosted: TimeoutError")
    page = text(owner, "/owner/letters/")
    assert "6 tries, next at" in page
    assert "NotPosted: TimeoutError" in page
    assert "fails again and again" in text(owner, "/desk/")
    assert outbox.settle(message.pk, at=NOON)
    assert "done" in text(owner, "/owner/letters/")
    letters.enqueue_link(request=None, at=NOON)
    assert outbox.settle(OutboxMessage.objects.get(subject="link").pk, at=NOON)
    assert "not needed" in text(owner, "/owner/letters/")


@pytest.mark.parametrize("form", [{}, {"key": "x"}, {"key": "\0", "message": "1"}])
def test_a_form_that_was_not_ours_is_refused_with_words(owner: Client, form: Any) -> None:
    assert owner.post("/owner/letters/again/", form).status_code == 400


PROMISES = re.compile(
    r"we have sent|sent it|by email too|on its way|Send me the link|in every mail"
)


def test_without_a_mail_server_no_page_tells_a_customer_of_a_letter(
    client: Client, shop: Shop, settings: Any
) -> None:
    secret = intake.link_secret(sent_back(shop))
    paths = ["/", "/find/", f"/story/{secret}/", f"/story/{secret}/address/"]
    with_mail = [PROMISES.search(text(client, path)) for path in paths]
    assert any(with_mail)
    settings.MAIL_GOES_OUT = False
    assert [PROMISES.search(text(client, path)) for path in paths] == [None] * 4
    asked = {"reference": "Q-2222-2222", "email": "wanda@example.org"}
    answer = client.post("/find/", asked).content.decode()
    assert not PROMISES.search(answer)
    assert "sends no email" in answer


def test_without_a_mail_server_the_owners_desk_says_so_in_red(owner: Client, settings: Any) -> None:
    assert "Letters stay here" not in text(owner, "/desk/")
    settings.MAIL_GOES_OUT = False
    assert "at once Letters stay here: no mail server is set" in text(owner, "/desk/")
