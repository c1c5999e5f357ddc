"""A recipe that is changed is a new version: what was mixed keeps the one that it was mixed by."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from django.urls import reverse

from inventory.errors import BadInput, Conflict, StaleState
from inventory.masters import rules as masters
from inventory.material.queries import cards as queries
from inventory.material.rules import cards
from inventory.models import Colour, FormerRecipe
from tests.makers import NOON, Shop, key
from tests.returns.material_makers import blend, card, lot_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def tideline(shop: Shop, olga: User) -> Colour:
    """70 % slate and 30 % moss, within 2 %, with fourteen kilograms of each on hand."""
    for colour in (shop.slate, shop.moss):
        lot_of(shop, colour, "14 kg", olga)
    return blend(shop, olga)


def changed(shop: Shop, tideline: Colour, by: User, **changes: Any) -> Colour:
    facts: dict[str, Any] = {
        "shares": ((shop.slate, 600_000), (shop.moss, 400_000)),
        "tolerance_ppm": 10_000,
        "is_marbled": True,
    }
    version = changes.pop("version", tideline.recipe_version)
    data = masters.NewRecipe(**(facts | changes))
    return masters.change_recipe(
        key=key(), blend=tideline, version=version, data=data, at=NOON, by=by
    )


def test_a_new_version_keeps_the_former_one_and_what_was_mixed_by_it(
    shop: Shop, tideline: Colour, olga: User
) -> None:
    first = card(shop, olga, tideline)
    new = changed(shop, tideline, olga)
    assert queries.current(new) == queries.Version(2, {"slate": 600_000, "moss": 400_000}, 10_000)
    (former,) = queries.former(new)
    assert former == queries.Version(1, {"slate": 700_000, "moss": 300_000}, 20_000)
    first.refresh_from_db()
    assert queries.on(first) == former
    second = card(shop, olga, new)
    assert (second.recipe_version, dict(second.recipe)["moss"]) == (2, 400_000)


def test_another_batch_like_that_one_takes_that_ones_recipe(
    shop: Shop, tideline: Colour, olga: User
) -> None:
    first = card(shop, olga, tideline)
    new = changed(shop, tideline, olga)
    again = card(shop, olga, new, like=first, batch_code="AV-2611")
    assert queries.on(again) == queries.on(first)
    assert sorted(line.wanted_mg for line in again.lines.all()) == [3_000_000, 7_000_000]
    other = blend(shop, olga, name="Estuary")
    with pytest.raises(BadInput, match="another blend"):
        card(shop, olga, other, like=first)


def test_of_two_hands_at_one_recipe_the_slower_is_refused(
    shop: Shop, tideline: Colour, olga: User
) -> None:
    changed(shop, tideline, olga)
    with pytest.raises(StaleState):
        changed(shop, tideline, olga, version=1, tolerance_ppm=5_000)
    assert FormerRecipe.objects.count() == 1


@pytest.mark.parametrize("wrong", ["short", "itself", "base"])
def test_what_is_no_recipe_is_refused_and_nothing_changes(
    shop: Shop, tideline: Colour, olga: User, wrong: str
) -> None:
    shares = {
        "short": ((shop.slate, 600_000), (shop.moss, 399_999)),
        "itself": ((shop.slate, 600_000), (tideline, 400_000)),
        "base": ((shop.slate, 600_000), (shop.moss, 400_000)),
    }[wrong]
    into = shop.moss if wrong == "base" else tideline
    with pytest.raises(BadInput):
        changed(shop, into, olga, shares=shares)
    tideline.refresh_from_db()
    assert (tideline.recipe_version, FormerRecipe.objects.count()) == (1, 0)
    assert queries.current(tideline).shares == {"slate": 700_000, "moss": 300_000}


def test_a_repeat_under_one_key_changes_the_recipe_once(
    shop: Shop, tideline: Colour, olga: User
) -> None:
    data = masters.NewRecipe(
        shares=((shop.slate, 500_000), (shop.moss, 500_000)), tolerance_ppm=1, is_marbled=False
    )
    facts: dict[str, Any] = {"key": key(), "blend": tideline, "version": 1, "data": data}
    for _ in range(2):
        found = masters.change_recipe(**facts, at=NOON, by=olga)
        assert (found.recipe_version, found.veins) == (2, "")


def test_a_card_that_is_open_is_weighed_by_its_own_version(
    shop: Shop, tideline: Colour, olga: User
) -> None:
    made = card(shop, olga, tideline)
    changed(shop, tideline, olga)
    lots = {line.lot: f"{line.wanted_mg} mg" for line in made.lines.all()}
    done = cards.weigh(
        key=key(),
        card=made,
        lots=lots,
        scanned=[lot.code for lot in lots],
        scale=shop.box_scale,
        reason="",
        at=NOON,
        by=olga,
    )
    assert done.state == "weighed"
    with pytest.raises(Conflict):
        card(shop, olga, tideline, total_mg=90_000_000)


def test_the_owner_changes_a_recipe_on_its_page_and_sees_both_versions(
    client: Client, shop: Shop, tideline: Colour, olga: User
) -> None:
    made = card(shop, olga, tideline)
    client.force_login(olga)
    path = reverse("recipe", args=[tideline.code])
    shown = client.get(path)
    assert shown.context["form"].initial["share_1"] == 700_000
    assert made.batch_code in shown.content.decode()
    sent = {
        "key": key(),
        "version": 1,
        "is_marbled": "yes",
        "tolerance": "1",
        "colour_1": shop.slate.pk,
        "share_1": "60",
        "colour_2": shop.moss.pk,
        "share_2": "40",
    }
    refused = client.post(path, sent | {"share_2": "30"})
    assert (refused.status_code, "add up to 100" in refused.content.decode()) == (400, True)
    assert client.post(path, sent).status_code == 302
    page = client.get(path).content.decode()
    assert "60.0 %" in page
    assert "70.0 %" in page
    card_page = client.get(reverse("card", args=[made.code])).content.decode()
    assert "version 2 is in use by now" in card_page
