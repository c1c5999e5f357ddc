"""A table too wide for a tablet scrolls in its own region and still says whose figures they are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User

from tests.browser import chromium
from tests.makers import Shop, opening

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

# The words of each row's name, where the screen shows them, against the region's left edge.
_OUT_OF_SIGHT = """region => {
  region.scrollLeft = region.scrollWidth;
  const edge = region.getBoundingClientRect().left;
  return [...region.querySelectorAll("tbody th")].filter(name => {
    const words = document.createRange();
    words.selectNodeContents(name);
    return words.getBoundingClientRect().left < edge;
  }).map(name => name.textContent);
}"""


def test_the_names_of_rows_stay_in_sight_while_their_table_scrolls(
    open_visitors: Callable[..., Any], shop: Shop, acke: User
) -> None:
    opening(400_000, shop)
    page = open_visitors(viewport=chromium.TABLET).page(user=acke)
    page.goto("/months/2026-10/report/")
    region = page.locator(".table-scroll").first
    assert region.locator("tbody th").count() > 2
    assert region.evaluate("region => region.scrollWidth > region.clientWidth")
    assert region.evaluate(_OUT_OF_SIGHT) == []
    assert region.evaluate("region => region.scrollLeft") > 0
