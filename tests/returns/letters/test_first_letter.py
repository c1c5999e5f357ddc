"""The first mail holds everything that a customer needs, and nothing that nobody entered."""

from __future__ import annotations

from datetime import timedelta

import pytest

from inventory.models import Workshop
from returns.filing.queries import terms as costs
from returns.filing.queries import waiting
from returns.letters.texts import Occasion, compose
from returns.models import Request, Terms
from returns.story.queries.story import day_words
from tests.makers import NOON, Shop
from tests.returns.customer_makers import asked_screws, sent_back

pytestmark = pytest.mark.django_db


def priced(**changes: object) -> None:
    facts = {
        "mending_minor": 0,
        "kit_minor": 0,
        "postage_in_paid_by": "customer",
        "postage_back_paid_by": "workshop",
    }
    terms = Terms.the()
    for name, value in (facts | changes).items():
        setattr(terms, name, value)
    terms.save()


def body(request: Request, letter: str = "filed") -> str:
    return "\n\n".join(compose(letter, Occasion(request, None, Workshop.the())).paragraphs)


def test_it_says_what_was_filed_where_to_post_it_and_by_when(shop: Shop) -> None:
    Workshop.objects.update(address="9 Weir Road\n12345 Saltmarsh")
    text = body(sent_back(shop, note="100% %(sure)s it fell"))
    for words in (
        "9 Weir Road\n12345 Saltmarsh",
        "Avocet · Slate",
        "snapped in two",
        "100% %(sure)s it fell",
        "7 Towpath",
        day_words((NOON + timedelta(days=60)).date()),
        "21 days after it came",
    ):
        assert words in text


def test_abroad_the_address_names_the_country(shop: Shop) -> None:
    request = sent_back(shop)
    assert "Germany" in body(request)
    Workshop.objects.update(country="NL")
    assert "Netherlands" in body(request)


@pytest.mark.parametrize("kind", list(Request.Kind))
def test_costs_that_nobody_entered_are_not_told(shop: Shop, kind: str) -> None:
    data = " ".join(costs.cost_words(kind))
    assert "Ask us before you post" in data
    assert "cost you nothing" not in data
    assert "pay the postage" not in data


def test_costs_are_told_as_entered(shop: Shop) -> None:
    priced(mending_minor=850, cost_note="Cash or transfer.")
    data = " ".join(costs.cost_words(Request.Kind.SEND_BACK))
    assert "A mended frame costs you 8.50 EUR." in data
    assert "You pay the postage of your parcel to us. We pay the postage back to you." in data
    assert data.endswith("Cash or transfer.")
    assert data in body(sent_back(shop))
    priced(kit_minor=200)
    assert "The kit costs you 2.00 EUR, postage included." in body(asked_screws(shop))


def test_a_request_that_was_woken_is_awaited_anew(shop: Shop) -> None:
    request = sent_back(shop)
    request.revived_at = NOON + timedelta(days=100)
    assert waiting.last_day(request) == (NOON + timedelta(days=160)).date()
