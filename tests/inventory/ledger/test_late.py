"""A fact told days later is dated where it happened, and says when it was told and why."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput
from inventory.ledger.rules import late
from inventory.models import Movement
from inventory.months import rules as months
from inventory.months.queries import audit, recovered
from inventory.months.queries.recovered import corrections
from inventory.parts import rules as stock
from tests.inventory.month_makers import NOV_2
from tests.makers import Shop, key

pytestmark = pytest.mark.django_db

NOV_3 = datetime(2026, 11, 3, 9, tzinfo=UTC)
REASON = "the delivery note lay under the mill"


def told(shop: Shop, **facts: object) -> Movement:
    receive = late.telling(stock.receive)
    data = {"part": shop.screw, "pieces": 50, "cost_minor": 200, "at": NOV_3} | facts
    return receive(key=key(), **data)


def test_late_fact_has_its_day_and_says_when_it_was_told(shop: Shop) -> None:
    moved = told(shop, happened_on=date(2026, 10, 20), late_reason=REASON)
    assert (moved.month, moved.belongs_to) == ("2026-10", "")
    assert moved.happened_at == datetime(2026, 10, 20, 10, tzinfo=UTC)
    assert (moved.recorded_at, moved.reason) == (NOV_3, REASON)


def test_late_fact_of_a_closed_month_is_told_by_both_months(shop: Shop) -> None:
    for label in ("2026-08", "2026-09", "2026-10"):
        months.close(key=key(), label=label, at=NOV_2, by=None)
    moved = told(shop, happened_on=date(2026, 10, 20), late_reason=REASON)
    assert (moved.month, moved.belongs_to) == ("2026-11", "2026-10")
    (row,) = recovered.of_month("2026-11").late
    assert (row.number, row.happened_on) == (moved.number, "2026-10-20")
    assert [one.reason for one in corrections.made_to("2026-10")] == [REASON]
    assert all(check.ok for check in audit.check())


def test_what_is_told_at_once_is_as_before(shop: Shop) -> None:
    moved = told(shop)
    assert (moved.happened_at, moved.recorded_at, moved.reason) == (NOV_3, NOV_3, "")
    assert told(shop, happened_on=date(2026, 11, 3)).happened_at == NOV_3


@pytest.mark.parametrize(
    ("day", "reason", "field"),
    [
        (date(2026, 11, 4), REASON, "happened_on"),
        (date(2025, 1, 1), REASON, "happened_on"),
        (date(2026, 10, 20), " ", "late_reason"),
        (date(2026, 10, 20), "x" * 201, "late_reason"),
    ],
)
def test_bad_day_or_reason_is_refused_at_its_field(
    shop: Shop, day: date, reason: str, field: str
) -> None:
    before = Movement.objects.count()
    with pytest.raises(BadInput) as refused:
        told(shop, happened_on=day, late_reason=reason)
    assert refused.value.field == field
    assert Movement.objects.count() == before


@pytest.mark.edge
def test_page_takes_the_day(client: Client, shop: Shop, bea: User) -> None:
    client.force_login(bea)
    form = {"key": str(key()), "part": shop.screw.code, "pieces": "5", "cost": "1,00"}
    address = reverse("stock-action", args=["parts-receive"])
    assert "Happened on" in client.get(address).content.decode()
    refused = client.post(address, form | {"happened_on": "2026-09-30"})
    assert "Say why it comes late" in refused.content.decode()
    client.post(address, form | {"happened_on": "2026-09-30", "late_reason": REASON})
    moved = Movement.objects.order_by("number").last()
    assert moved is not None
    assert (moved.kind, moved.month, moved.reason) == ("receive_parts", "2026-09", REASON)
