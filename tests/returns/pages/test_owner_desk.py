"""What waits for the owner today, on the desk."""

from __future__ import annotations

import re
from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client

from inventory import places
from inventory.models import Part, Workshop
from returns.queries.owner_today import owner_today
from tests.makers import NOON, Shop
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db


def desk(client: Client) -> str:
    page = client.get("/desk/").content.decode()
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page))


@pytest.mark.parametrize(("days", "late"), [(20, 0), (21, 0), (22, 1)])
def test_a_frame_is_late_the_day_after_its_promise(shop: Shop, days: int, late: int) -> None:
    made.frame(shop)
    assert owner_today(NOON + timedelta(days=days)).late_frames == late


def test_a_frame_that_has_left_is_late_no_more(shop: Shop) -> None:
    made.posted(shop)
    assert owner_today(NOON + timedelta(days=60)).late_frames == 0


def test_a_part_is_thin_below_its_reorder_level(shop: Shop, bea: User) -> None:
    Part.objects.update(reorder_level=0)
    part = Part.objects.order_by("code")[0]
    held = stock_of(part)
    for level, thin in ((held, ()), (held + 1, (part.name,))):
        Part.objects.filter(pk=part.pk).update(reorder_level=level)
        assert owner_today(NOON).thin_parts == thin


def stock_of(part: Part) -> int:
    place = places.bin_of(part)
    balance: Any = getattr(place, "balance", None)
    return balance.quantity if balance else 0


def test_a_month_waits_from_its_end_until_it_is_closed(shop: Shop) -> None:
    made.posted(shop)
    label = NOON.strftime("%Y-%m")
    assert label not in owner_today(NOON).months_to_close
    assert label in owner_today(NOON + timedelta(days=40)).months_to_close


def test_the_desk_says_what_waits_and_leads_there(client: Client, shop: Shop, olga: User) -> None:
    made.frame(shop)
    client.force_login(olga)
    with time_machine.travel(NOON + timedelta(days=40), tick=False):
        page = desk(client)
        assert "1 frame is past its promised day." in page
        assert "Ended and not closed:" in page
        assert "The public page of claims is not open." in page
        Workshop.objects.update(public_page=True)
        assert "The public page of claims is open." in desk(client)


@pytest.mark.parametrize("who", ["bea", "acke"])
def test_other_roles_are_not_told_the_owners_lines(
    client: Client, shop: Shop, request: pytest.FixtureRequest, who: str
) -> None:
    made.frame(shop)
    client.force_login(request.getfixturevalue(who))
    with time_machine.travel(NOON + timedelta(days=40), tick=False):
        assert "past its promised day" not in desk(client)
