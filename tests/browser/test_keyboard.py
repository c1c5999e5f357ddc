"""The bench without a mouse: from a code to a graded frame by keys alone."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Locator, Page, expect

from returns.models import ReturnedFrame
from tests.browser import chromium
from tests.makers import Shop
from tests.returns import customer_makers as customers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STEPS_MAX = 80


def _tab_to(page: Page, wanted: Locator) -> None:
    """Press Tab until it has the focus; a thing that no Tab reaches fails."""
    expect(wanted).to_have_count(1)
    for _step in range(STEPS_MAX):
        if wanted.evaluate("node => node === document.activeElement"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"{STEPS_MAX} Tabs did not reach {wanted}")


def _press(page: Page, wanted: Locator, key: str = "Enter") -> None:
    _tab_to(page, wanted)
    page.keyboard.press(key)


@pytest.fixture
def bench(open_visitors: Callable[..., Any], bea: User) -> Page:
    page: Page = open_visitors(viewport=chromium.DESKTOP).page(user=bea)
    page.goto("/bench/")
    return page


def test_from_the_code_to_the_grading_by_keys_alone(bench: Page, shop: Shop) -> None:
    filed = customers.sent_back(shop)
    _tab_to(bench, bench.locator("#code-search"))
    bench.keyboard.type(filed.reference.lower().replace("-", " "))
    bench.keyboard.press("Enter")
    _press(bench, bench.get_by_role("button", name="Its parcel is here: book it"))

    expect(bench.get_by_label("Mass", exact=True)).to_be_focused()
    bench.keyboard.type("24,31")
    _tab_to(bench, bench.get_by_label("Scale", exact=True))
    bench.keyboard.type("Fine")
    _press(bench, bench.get_by_label("It is washed, disinfected and dry"), "Space")
    bench.keyboard.press("Enter")
    _press(bench, bench.get_by_role("link", name="Open the frame"))

    _press(bench, bench.get_by_role("link", name="Look it over"))
    _press(bench, bench.get_by_label("ours: mark, colour and feel are right"), "Space")
    arm = bench.get_by_role("group", name="Left arm", exact=True)
    _press(bench, arm.get_by_label("snapped", exact=True), "Space")
    _press(bench, bench.get_by_role("button", name="Show the answer"))
    expect(bench.locator("#decision")).to_contain_text("Decision: Repair")
    frame = ReturnedFrame.objects.get()
    assert (frame.reading.mass_mg, frame.state) == (24_310, "to_mend")


def test_a_hand_scanner_needs_no_field(bench: Page, shop: Shop) -> None:
    """A burst of keys that ends with Enter goes to the search, wherever the focus is."""
    filed = customers.sent_back(shop)
    bench.locator("body").press("Escape")
    bench.keyboard.type(filed.reference)
    bench.keyboard.press("Enter")
    expect(bench.locator("h1 .code")).to_have_text(filed.reference)


def test_the_skip_link_leads_past_the_head(bench: Page) -> None:
    bench.keyboard.press("Tab")
    expect(bench.get_by_role("link", name="Skip to the content")).to_be_focused()
    bench.keyboard.press("Enter")
    expect(bench.locator("main")).to_be_focused()
