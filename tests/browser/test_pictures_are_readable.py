"""The owner's pictures on every screen: seen whole, with text big enough to read."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.contrib.auth.models import User

from tests.browser import chromium
from tests.makers import NOON, Shop
from tests.returns import owner_makers as made

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TEXT_PX_MIN = 12
# The height of each text as the screen shows it, whatever its picture was scaled by.
_TEXT_PX = """() => [...document.querySelectorAll("svg.chart-svg text")].filter(
  text => text.ownerSVGElement.checkVisibility()).map(text => {
  const svg = text.ownerSVGElement;
  const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
  return parseFloat(getComputedStyle(text).fontSize) * scale;
})"""
# A region that holds more than it shows must take the focus, so that arrow keys move it.
_STUCK = """() => [...document.querySelectorAll(".chart, .table-scroll")].filter(
  region => region.scrollWidth > region.clientWidth + 1 && region.tabIndex < 0).length"""
# Each chart is seen whole.
_CUT = """() => [...document.querySelectorAll(".chart")].filter(
  region => region.scrollWidth > region.clientWidth + 1).map(
  region => region.getAttribute("aria-label"))"""
_OUTSIDE = """() => [...document.querySelectorAll("svg.chart-svg text")].filter(text => {
  const svg = text.ownerSVGElement.getBoundingClientRect(), box = text.getBoundingClientRect();
  return text.ownerSVGElement.checkVisibility()
    && (box.left < svg.left - 1 || box.right > svg.right + 1 || box.bottom > svg.bottom + 1);
}).map(text => text.textContent)"""
_EMPTY_CELLS = """() => [...document.querySelectorAll("table.heat td")].filter(
  cell => cell.textContent.trim() === "").length"""


@pytest.fixture
def books(shop: Shop, olga: User) -> Shop:
    made.sold(shop.batch, m2026_07=60)
    for _ in range(6):
        at = NOON - timedelta(days=40)
        made.graded(made.posted(shop, at=at), olga, ("arm_left", "snapped"), at=at)
    made.graded(made.boxed(shop), olga, ("front", "cracked"))
    return shop


@pytest.mark.parametrize("path", ["/owner/", "/owner/lifetimes/"])
@pytest.mark.parametrize(
    "size",
    [chromium.PHONE, chromium.TABLET, chromium.DESKTOP],
    ids=["phone", "tablet", "desktop"],
)
def test_pictures_can_be_read(
    open_visitors: Callable[..., Any], books: Shop, olga: User, path: str, size: Any
) -> None:
    page = open_visitors(viewport=size).page(user=olga)
    page.goto(path)
    sizes = page.evaluate(_TEXT_PX)
    assert len(sizes) > 20
    assert min(sizes) >= TEXT_PX_MIN
    assert page.evaluate("document.documentElement.scrollWidth") <= size["width"]
    assert page.evaluate(_STUCK) == 0
    assert page.evaluate(_CUT) == []
    assert page.evaluate(_OUTSIDE) == []
    assert page.evaluate(_EMPTY_CELLS) == 0
