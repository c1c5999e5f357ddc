"""What waits for the owner today, on the desk."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
import time_machine
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.models import Part, Workshop
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.desk.queries.owner_today import owner_today
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


@pytest.mark.parametrize(("over", "is_low"), [(-1, True), (0, True), (1, False)])
def test_a_part_is_low_once_its_free_pieces_reach_the_reorder_level(
    client: Client, olga: User, shop: Shop, over: int, is_low: bool
) -> None:
    """The desk and the stock room say the same, one below the level, at it, and one above."""
    stock.reserve(part=shop.screw, pieces=2, subject="R-AAAA-1111", at=NOON)
    Part.objects.update(reorder_level=0)
    free = part_stock.held(shop.screw) - 2
    Part.objects.filter(pk=shop.screw.pk).update(reorder_level=free - over)
    assert owner_today(NOON).thin_parts == ((shop.screw.name,) if is_low else ())
    client.force_login(olga)
    room = client.get(reverse("stock")).content.decode()
    assert room.count('<span class="tag state-warn">low</span>') == is_low
    assert ("To order" in room) == is_low


def test_a_month_waits_from_its_end_until_it_is_closed(shop: Shop) -> None:
    made.posted(shop)
    label = NOON.strftime("%Y-%m")
    assert label not in owner_today(NOON).months_to_close
    assert label in owner_today(NOON + timedelta(days=40)).months_to_close


def test_the_desk_says_what_waits_and_leads_there(client: Client, shop: Shop, olga: User) -> None:
    made.frame(shop)
    with time_machine.travel(NOON + timedelta(days=40), tick=False):
        client.force_login(olga)
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
    with time_machine.travel(NOON + timedelta(days=40), tick=False):
        client.force_login(request.getfixturevalue(who))
        page = desk(client)
        assert f"Good to see you, {who}" in page
        assert "past its promised day" not in page
