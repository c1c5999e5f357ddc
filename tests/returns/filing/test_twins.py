"""The same request filed twice by mistake: within a day, by the same person, to the letter."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from returns.filing.rules import intake, twins
from returns.models import Request
from tests.makers import NOON, Shop, key
from tests.returns.customer_makers import WANDA, filing, sent_back

pytestmark = pytest.mark.django_db

KIND = Request.Kind.SEND_BACK


@pytest.mark.parametrize(
    ("later", "is_twin"),
    [
        (timedelta(0), True),
        (timedelta(days=1) - timedelta(seconds=1), True),
        (timedelta(days=1), False),
        (timedelta(days=1, seconds=1), False),
    ],
)
def test_a_twin_is_one_within_a_day(shop: Shop, later: timedelta, is_twin: bool) -> None:
    first = sent_back(shop)
    found = twins.of(key=key(), filing=filing(shop), kind=KIND, at=NOON + later)
    assert found == (first if is_twin else None)


def test_the_same_key_is_a_repeat_and_no_twin(shop: Shop) -> None:
    first = sent_back(shop)
    assert twins.of(key=first.key, filing=filing(shop), kind=KIND, at=NOON) is None


def test_what_was_withdrawn_may_be_filed_again(shop: Shop) -> None:
    intake.withdraw(key=key(), request=sent_back(shop), at=NOON)
    assert twins.of(key=key(), filing=filing(shop), kind=KIND, at=NOON) is None


def test_the_page_in_another_language_is_still_a_twin(shop: Shop) -> None:
    first = sent_back(shop)
    again = filing(shop, contact=replace(WANDA, language="de"))
    assert twins.of(key=key(), filing=again, kind=KIND, at=NOON) == first


def test_a_contact_that_will_not_do_is_left_to_the_rule(shop: Shop) -> None:
    sent_back(shop)
    bad = filing(shop, contact=replace(WANDA, email="wanda"))
    assert twins.of(key=key(), filing=bad, kind=KIND, at=NOON) is None
