"""A bin that is counted below what is promised: taken, warned of, and no falsified book."""

from __future__ import annotations

import pytest
from django.contrib.auth.models import User
from django.db import connection
from django.test import Client

from inventory.months.queries import audit
from inventory.parts import queries as parts
from tests.api.callers import machine
from tests.makers import Shop, key
from tests.returns import customer_makers as customers

pytestmark = pytest.mark.django_db


def wrong() -> list[str]:
    [found] = audit.check(["promises-covered"])
    return list(found.wrong)


def test_the_api_tells_how_many_are_short_and_the_books_stand(shop: Shop, bea: User) -> None:
    customers.asked_screws(shop)
    promised = parts.promised(shop.screw)
    assert promised == 2
    count = f"parts/{shop.screw.code}/counts/"
    body = {"counted": promised, "reason": "month end"}
    answer = machine(bea, "bench").post(count, body)
    assert (answer.status_code, answer.json()["promised_short"]) == (201, 0)
    answer = machine(bea, "bench").post(count, body | {"counted": 0})
    assert (answer.status_code, answer.json()["promised_short"]) == (201, 2)
    assert not wrong()


def test_promises_that_no_count_explains_are_found(shop: Shop) -> None:
    customers.asked_screws(shop)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE inventory_reservation SET pieces = 10000")
    assert wrong()


def test_the_page_warns(shop: Shop, bea: User) -> None:
    customers.asked_screws(shop)
    client = Client()
    client.force_login(bea)
    form = {"key": str(key()), "part": shop.screw.code, "counted": 1, "reason": "month end"}
    page = client.post("/bench/stock/parts-count/", form, follow=True).content.decode()
    assert "1 piece of Hinge screw M1.4 is promised and was not found" in page
