"""Limits on tries stop the one who tries, and are turned against nobody else."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.test import Client

from returns.filing.rules import intake
from returns.furniture import limits
from tests.makers import Shop
from tests.returns import customer_makers as customers

pytestmark = pytest.mark.django_db

HOME, STRANGER = "192.0.2.55", "203.0.113.66"


def asks(reference: str, address: str) -> int:
    form = {"reference": reference, "email": "wanda@example.org"}
    return Client(REMOTE_ADDR=address).post("/find/", form).status_code


def test_a_stranger_who_tries_a_reference_shuts_out_himself_and_not_its_owner(shop: Shop) -> None:
    reference = customers.sent_back(shop).reference
    answers = [asks(reference, STRANGER) for _try in range(6)]
    assert answers == [200] * 5 + [429]
    assert asks(reference, HOME) == 200


def test_strangers_from_many_addresses_raise_an_alarm_and_close_nothing(
    shop: Shop, olga: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(limits, "FLOOD", 3)
    client = Client()
    client.force_login(olga)
    for number in range(3):
        assert asks(f"Q-{number}", f"203.0.113.{number}") == 200
    assert "in great number" not in client.get("/desk/").content.decode()
    for number in range(3, 6):
        assert asks(f"Q-{number}", f"203.0.113.{number}") == 200
    assert "in great number" in client.get("/desk/").content.decode()
    told = [one for one in caplog.records if "finding_flood" in str(one.msg)]
    assert len(told) == 1
    assert asks("Q-9", HOME) == 200


def test_a_slip_is_not_drawn_without_end(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("returns.filing.pages.slip_pdf.make", lambda *_a, **_k: b"%PDF")
    request, other = customers.sent_back(shop), customers.sent_back(shop)
    paths = [f"/story/{intake.link_secret(one)}/slip.pdf" for one in (request, other)]
    answers = [Client().get(paths[0]).status_code for _once in range(13)]
    assert answers == [200] * 12 + [429]
    assert Client().get(paths[1]).status_code == 200
