"""From the parcel on the counter to the end of its frame: how many pages a hand waits for.

A full load of a page counts; what is swapped inside a page does not, nor a label to print, which
opens beside it. The day begins at *today*, with a hand scanner and a keyboard.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from returns.models import Parcel, ReturnedFrame
from tests.browser import actions, chromium, kept
from tests.browser.scanner import scan
from tests.makers import Shop
from tests.returns import customer_makers as customers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

REGRIND_MAX, REPAIR_MAX = 5, 7


class Loads:
    """Counts the full loads of a page from now on."""

    def __init__(self, page: Page) -> None:
        self.page, self.paths = page, list[str]()
        page.on("load", lambda loaded: self.paths.append(loaded.url.partition("://")[2]))

    def __len__(self) -> int:
        return len(self.paths)

    def tell(self, what: str) -> None:
        self.page.wait_for_load_state("load")
        line = f"{what}: {len(self)} page loads"
        print(line)
        kept.lines(f"loads {what}", [line, *self.paths])


def _at_the_bench(visitors: Any, bea: User) -> Page:
    page: Page = visitors.page(user=bea)
    page.goto("/bench/")
    return page


def _weighed(page: Page, reference: str, mass: str) -> None:
    """Scan the slip; the page that opens takes the mass. One press weighs in and finishes."""
    scan(page, reference)
    field = page.get_by_label("Mass", exact=True)
    expect(field).to_be_focused()
    field.fill(mass)
    page.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    page.get_by_label("It is washed, disinfected and dry").check()
    actions.press(page, "Weigh it in: nothing else is in it")
    expect(page.get_by_role("link", name="Print its tag")).to_be_visible()


@pytest.fixture
def visitors(open_visitors: Callable[..., Any]) -> Any:
    return open_visitors(viewport=chromium.DESKTOP)


def test_a_regrind_takes_no_more_loads_than_it_may(visitors: Any, shop: Shop, bea: User) -> None:
    request = customers.sent_back(shop)
    page = _at_the_bench(visitors, bea)
    loads = Loads(page)
    _weighed(page, request.reference, "24,82")
    actions.look_over(page, part="Front", defect="snapped", onward="Take it and go on to strip")
    actions.strip(page)
    expect(page.locator("main")).to_contain_text("is in its box.")
    loads.tell("regrind")
    assert len(loads) <= REGRIND_MAX
    assert ReturnedFrame.objects.get().state == "boxed"
    assert Parcel.objects.get().done_at is not None


def test_a_repair_takes_no_more_loads_than_it_may(visitors: Any, shop: Shop, bea: User) -> None:
    request = customers.sent_back(shop)
    page = _at_the_bench(visitors, bea)
    loads = Loads(page)
    _weighed(page, request.reference, "24,31")
    tag = ReturnedFrame.objects.get().tag
    actions.look_over(page, part="Left arm", defect="snapped", onward="Take it and start mending")
    actions.mend(page, mass="24,33", part=shop.arm.code)
    expect(page.get_by_role("link", name="Print the address label")).to_be_visible()
    scan(page, tag)
    actions.press(page, "It is in the post")
    expect(page.locator("main")).to_contain_text(f"{tag} is posted.")
    loads.tell("repair")
    assert len(loads) <= REPAIR_MAX
    assert ReturnedFrame.objects.get().state == "posted"


def test_several_are_weighed_in_a_row_without_a_mouse(visitors: Any, shop: Shop, bea: User) -> None:
    """Scan, weigh, scan, weigh; then one press. No scan and no Enter sends anything."""
    slips = [customers.sent_back(shop).reference for _ in range(3)]
    page: Page = visitors.page(user=bea)
    page.goto("/bench/arrivals/")
    page.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    loads = Loads(page)
    for slip, mass in zip(slips, ("24,31", "24,82", "24,50"), strict=True):
        scan(page, slip)
        page.keyboard.type(mass, delay=150)
        page.keyboard.press("Enter")
    # Scanned once more, a slip leads to its own line.
    scan(page, slips[1])
    expect(page.locator("#id_line2-mass")).to_be_focused()
    for number, slip in enumerate(slips, 1):
        expect(page.locator(f"#id_line{number}-request")).to_have_value(slip)
    assert (len(loads), ReturnedFrame.objects.count()) == (0, 0)
    page.get_by_label("All of them are washed").check()
    page.get_by_role("button", name="Weigh all of these in").press("Enter")
    expect(page.locator("main")).to_contain_text("3 frames are weighed in.")
    loads.tell("three in a row")
    assert len(loads) == 1
    masses = [one.reading.mass_mg for one in ReturnedFrame.objects.order_by("pk")]
    assert masses == [24_310, 24_820, 24_500]
