"""The reconciliation on the month page and in the API: what it says, and that it posts nothing."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client

from inventory.furniture.wording import mass
from inventory.models import Movement, Place
from inventory.weighing.queries import reconciled
from tests.inventory.weighing.test_reconciled import count, frame_in, frame_stripped, ground
from tests.makers import Shop

pytestmark = pytest.mark.django_db
PAGE = "/months/2026-10/"
API = "/api/months/2026-10/reconciliation/"


@pytest.fixture(autouse=True)
def _november() -> Iterator[None]:
    with time_machine.travel(datetime(2026, 11, 2, 9, 0, tzinfo=UTC), tick=False):
        yield


@pytest.fixture
def slip(shop: Shop, bea: User, ben: User) -> Movement:
    """Three frames stripped without a gap, their box ground with 10 g of flake misread."""
    for index in range(3):
        frame_in(shop, f"F-{index}", 24_820)
        frame_stripped(shop, f"F-{index}", 24_820, 19_620, 5_200)
    return ground(shop, bea, ben, "48.860 g")


def text(client: Client, user: User, path: str = PAGE) -> str:
    client.force_login(user)
    response = client.get(path)
    assert response.status_code == 200
    return response.content.decode()


def test_a_month_with_a_slip_says_where_and_links_the_movement(
    client: Client, acke: User, slip: Movement
) -> None:
    shown = text(client, acke)
    assert "The month does not close" in shown
    assert "less than 0.1 % of months" in shown
    assert f'href="/movements/{slip.number}/"' in shown
    flow = reconciled.of_month("2026-10").suspects[0]
    assert flow.others_u_mg
    assert f"the others give 58.86 g ± {mass(flow.others_u_mg)}" in shown
    assert "with a check weight" in shown


def test_a_month_that_adds_up_closes(client: Client, acke: User, shop: Shop) -> None:
    frame_in(shop, "F-1", 24_820)
    frame_stripped(shop, "F-1", 24_820, 19_620, 5_200)
    shown = text(client, acke)
    assert "closes within what the scales can tell" in shown
    assert "Which weighing is suspicious" not in shown


def test_a_month_without_second_weighings_says_so(client: Client, acke: User, shop: Shop) -> None:
    assert "Nothing in this month was weighed a second time" in text(client, acke)


def test_the_owner_is_led_to_a_filled_in_count_and_nothing_is_posted(
    client: Client, olga: User, shop: Shop, bea: User, slip: Movement
) -> None:
    lot = Place.objects.get(kind="lot")
    count(shop, bea, lot, "48.000 g")
    before = Movement.objects.count()
    address = f"/bench/stock/count/?place={lot.pk}&amp;reason=reconciliation+of+2026-10"
    assert address in text(client, olga)
    form = text(client, olga, address.replace("&amp;", "&"))
    assert f'<option value="{lot.pk}" selected>' in form
    assert "reconciliation of 2026-10" in form
    assert Movement.objects.count() == before


def test_the_accountant_is_told_to_ask_for_the_count(
    client: Client, acke: User, shop: Shop, bea: User, slip: Movement
) -> None:
    count(shop, bea, Place.objects.get(kind="lot"), "48.000 g")
    shown = text(client, acke)
    assert "ask the bench or the owner for a count" in shown
    assert "/bench/stock/count/" not in shown


def test_the_api_gives_the_same_answer(client: Client, acke: User, slip: Movement) -> None:
    client.force_login(acke)
    data = client.get(API).json()
    assert data["verdict"] == "does_not_close"
    assert data["p"] == 0
    (box,) = [one for one in data["balances"] if one["suspect"]]
    assert box["ended_by_movement"] == slip.number
    assert box["gap_mg"] == 10_000
    worst = max((s for s in data["streams"] if s["z"]), key=lambda stream: stream["z"])
    assert worst["suspect"] is True
    assert worst["others_mg"] == 58_860
    assert 0 < worst["others_expanded_mg"] < 100
    assert data["unchecked_places"] == [Place.objects.get(kind="lot").code]


@pytest.mark.parametrize("label", ["2026-13", "nonsense"])
def test_the_api_knows_no_such_month(client: Client, acke: User, label: str) -> None:
    client.force_login(acke)
    assert client.get(f"/api/months/{label}/reconciliation/").status_code == 404
