"""Impatient fingers, the back button, lost connections: nothing doubles, nothing is lost."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, Route, expect

from inventory.models import Movement
from returns.models import Request, ReturnedFrame
from tests.browser import actions, chromium
from tests.makers import Shop
from tests.returns import customer_makers as customers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

NO_ANSWER = "The service does not answer right now."
NOTE = "In your own words"
TYPED = {
    NOTE: "It fell off the table.",
    "Email": "wanda@example.org",
    "Street and number": "7 Towpath",
    "Town or city": "Saltmarsh",
}


def _still_there(page: Page) -> None:
    """Everything that `fill_return` typed, tapped and ticked."""
    for label, text in TYPED.items():
        expect(page.get_by_label(label)).to_have_value(text)
    for chosen in ("component][value=arm_left", "wish][value=regrind", "lenses_back][value=no"):
        expect(page.locator(f"input[name={chosen}]")).to_be_checked()
    expect(page.get_by_label("Avocet, Slate")).to_be_checked()
    expect(page.get_by_label("I have read what happens")).to_be_checked()


@pytest.fixture
def visitors(open_visitors: Callable[..., Any]) -> Any:
    return open_visitors(viewport=chromium.PHONE)


@pytest.fixture
def phone(visitors: Any) -> Page:
    page: Page = visitors.page()
    return page


def test_a_double_click_files_one_request(phone: Page, shop: Shop) -> None:
    actions.fill_return(phone, part="arm_left", defect="snapped in two")
    phone.get_by_role("button", name="File the return").dblclick()
    expect(phone).to_have_url(re.compile("/story/"))
    assert Request.objects.count() == 1


def test_back_and_send_again_files_one_request_and_opens_the_same_story(
    phone: Page, shop: Shop
) -> None:
    reference = actions.file_return(phone, part="arm_left", defect="snapped in two")
    phone.reload()
    phone.go_back()
    actions.press(phone, "File the return")
    expect(phone).to_have_url(re.compile("/story/"))
    expect(phone.locator(".reference")).to_have_text(reference)
    assert Request.objects.count() == 1


def test_back_and_send_again_without_scripts_opens_the_same_story(
    visitors: Any, shop: Shop
) -> None:
    plain = visitors.page(java_script_enabled=False)
    reference = actions.file_return(plain, part="arm_left", defect="snapped in two")
    plain.go_back()
    actions.fill_form(plain, part="arm_left", defect="snapped in two")
    actions.press(plain, "File the return")
    expect(plain.locator(".reference")).to_have_text(reference)
    assert Request.objects.count() == 1


@pytest.mark.parametrize("scripts", [True, False])
def test_typed_anew_shows_the_reference_and_asks_whether_it_is_another_frame(
    visitors: Any, shop: Shop, scripts: bool
) -> None:
    page = visitors.page(java_script_enabled=scripts)
    reference = actions.file_return(page, part="arm_left", defect="snapped in two")
    actions.fill_return(page, part="arm_left", defect="snapped in two")
    actions.press(page, "File the return")
    expect(page.get_by_role("heading", name="You have filed this already")).to_be_visible()
    expect(page.locator(".notice-warn .code")).to_have_text(reference)
    assert Request.objects.count() == 1
    actions.press(page, "It is another frame: file it too")
    expect(page).to_have_url(re.compile("/story/"))
    expect(page.locator(".reference")).not_to_have_text(reference)
    assert Request.objects.count() == 2


@pytest.mark.parametrize("part", sorted(actions.ON_THE_DRAWING))
def test_every_part_can_be_tapped_on_the_drawing(phone: Page, shop: Shop, part: str) -> None:
    phone.goto("/ask/return/")
    actions.tap(phone, part)
    expect(phone.locator(f".tick-{part}")).to_be_visible()
    expect(phone.locator(".tick:visible")).to_have_count(1)


def test_the_trail_says_what_is_filled_in_and_is_right_after_a_reload(
    phone: Page, shop: Shop
) -> None:
    phone.goto("/ask/return/")
    trail = phone.get_by_role("navigation", name="Parts of this form")
    expect(trail.get_by_role("progressbar")).to_have_attribute("value", "0")
    actions.fill_form(phone, part="arm_left", defect="snapped in two")
    phone.get_by_label("Town or city").fill("")
    for name in ("Frame", "Trouble", "Wish", "Send"):
        expect(trail.get_by_role("link", name=f"{name} (filled in)")).to_be_visible()
    expect(trail.get_by_role("link", name="Address", exact=True)).to_be_visible()
    phone.reload()
    expect(trail.get_by_role("progressbar")).to_have_attribute("value", "4")
    tint = phone.locator(".drawing").evaluate("node => node.style.getPropertyValue('--tint')")
    assert tint == shop.slate.swatch


def test_a_double_click_and_a_reload_weigh_one_frame_in(
    open_visitors: Callable[..., Any], shop: Shop, bea: User
) -> None:
    filed = customers.sent_back(shop)
    bench = open_visitors(viewport=chromium.DESKTOP).page(user=bea)
    actions.type_code(bench, filed.reference)
    bench.get_by_label("Mass", exact=True).fill("24,31")
    bench.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    bench.get_by_label("It is washed, disinfected and dry").check()
    bench.get_by_role("button", name="Weigh it in: nothing else is in it").dblclick()
    expect(bench.locator(".notice-good strong.code")).to_have_count(1)
    bench.reload()
    assert filed.parcels.count() == 1
    assert ReturnedFrame.objects.get().reading.mass_mg == 24_310
    assert Movement.objects.filter(kind="weigh_in").count() == 1


def test_what_was_typed_outlives_a_reload_and_is_gone_once_sent(phone: Page, shop: Shop) -> None:
    actions.fill_return(phone, part="arm_left", defect="snapped in two")
    phone.reload()
    _still_there(phone)
    expect(phone.get_by_text("We brought back what you had typed here.")).to_be_visible()
    actions.press(phone, "File the return")
    expect(phone).to_have_url(re.compile("/story/"))
    phone.wait_for_load_state()
    phone.goto("/ask/return/")
    expect(phone.get_by_label(NOTE)).to_have_value("")
    expect(phone.get_by_text("We brought back")).to_be_hidden()


@pytest.mark.usefixtures("late_scripts")
def test_what_is_typed_at_once_is_kept_and_never_typed_over_however_late_the_scripts_are(
    phone: Page, shop: Shop
) -> None:
    actions.fill_return(phone, part="arm_left", defect="snapped in two")
    phone.goto("/ask/return/", wait_until="commit")
    phone.get_by_label(NOTE).fill("It was the dog.")
    phone.wait_for_load_state()
    expect(phone.get_by_text("We brought back what you had typed here.")).to_be_visible()
    expect(phone.get_by_label("Email")).to_have_value(TYPED["Email"])
    expect(phone.get_by_label(NOTE)).to_have_value("It was the dog.")


def test_a_connection_lost_while_typing_is_said_and_loses_nothing(
    visitors: Any, phone: Page, shop: Shop
) -> None:
    actions.fill_return(phone, part="arm_left", defect="snapped in two")
    phone.context.set_offline(True)
    notice = phone.get_by_text(NO_ANSWER)
    expect(notice).to_be_visible()
    actions.press(phone, "File the return")
    expect(notice).to_be_focused()
    _still_there(phone)
    phone.context.set_offline(False)
    expect(notice).to_be_hidden()
    actions.press(phone, "File the return")
    expect(phone).to_have_url(re.compile("/story/"))
    assert Request.objects.count() == 1
    visitors.expect_complaint("Failed to load resource")


def test_a_machine_without_a_network_but_with_the_service_is_not_complained_of(
    phone: Page, shop: Shop
) -> None:
    """Only what the browser thinks of the network changes; the service on loopback answers."""
    phone.add_init_script(
        "Object.defineProperty(Navigator.prototype, 'onLine', { get: () => false });"
    )
    with phone.expect_response("**/alive/"):
        phone.goto("/ask/return/")
    with phone.expect_response("**/alive/"):
        phone.evaluate("window.dispatchEvent(new Event('offline'))")
    expect(phone.get_by_text(NO_ANSWER)).to_be_hidden()


def test_a_service_that_stops_is_noticed_while_typing_and_so_is_its_return(
    visitors: Any, bea: User, shop: Shop
) -> None:
    """The network is there, the service is not; a form that is sent meanwhile stays."""
    bench = visitors.page(user=bea)
    # Before the first page: a route laid while a page is being exchanged may miss the new one.
    bench.route("**/alive/", lambda route: route.abort("connectionrefused"))
    actions.type_code(bench, customers.sent_back(shop).reference)
    bench.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    bench.get_by_label("Mass", exact=True).fill("24,31")
    notice = bench.get_by_text(NO_ANSWER)
    expect(notice).to_be_visible()
    actions.press(bench, "Weigh it in: nothing else is in it")
    expect(notice).to_be_focused()
    assert not ReturnedFrame.objects.exists()
    bench.reload()
    expect(bench.get_by_label("Mass", exact=True)).to_have_value("24,31")
    expect(bench.get_by_text("We brought back what you had typed here.")).to_be_visible()
    bench.unroute("**/alive/")
    bench.get_by_label("It is washed, disinfected and dry").check()
    actions.press(bench, "Weigh it in: nothing else is in it")
    expect(bench.locator(".notice-good strong.code")).to_be_visible()
    assert ReturnedFrame.objects.get().reading.mass_mg == 24_310
    visitors.expect_complaint("Failed to load resource")


def test_a_second_frame_typed_after_going_back_is_asked_about_and_then_weighed_in(
    visitors: Any, bea: User, shop: Shop
) -> None:
    """The same key with another mass: never taken for the first, and not lost either."""
    bench = visitors.page(user=bea)
    actions.type_code(bench, customers.sent_back(shop).reference)
    for mass in ("24,31", "24,35"):
        bench.get_by_label("Mass", exact=True).fill(mass)
        bench.get_by_label("Scale", exact=True).select_option(label="Fine scale")
        bench.get_by_label("It is washed, disinfected and dry").check()
        actions.press(bench, "Weigh it in: more is in it")
        if mass == "24,31":
            expect(bench.locator(".notice-good strong.code")).to_be_visible()
            bench.go_back()
    expect(bench.locator(".error-summary")).to_contain_text("Another entry was sent")
    actions.press(bench, "Weigh it in: more is in it")
    expect(bench.locator(".notice-good strong.code")).to_be_visible()
    masses = ReturnedFrame.objects.order_by("pk").values_list("reading__mass_mg", flat=True)
    assert list(masses) == [24_310, 24_350]
    visitors.expect_complaint("422")


def test_sending_into_the_void_loses_nothing(phone: Page, shop: Shop) -> None:
    """The request never gets through: the browser shows its own page, the form opens full again."""
    actions.fill_return(phone, part="arm_left", defect="snapped in two")
    phone.route("**/ask/return/*", lambda route: route.abort("connectionrefused"))
    actions.press(phone, "File the return")
    phone.wait_for_url("chrome-error://**")
    phone.unroute("**/ask/return/*")
    phone.goto("/")
    actions.follow(phone, "Send a frame back")
    _still_there(phone)
    actions.press(phone, "File the return")
    expect(phone).to_have_url(re.compile("/story/"))
    assert Request.objects.count() == 1


def test_an_answer_that_was_lost_on_its_way_doubles_nothing(phone: Page, shop: Shop) -> None:
    """The server filed it, the phone never heard of it: sending again opens the same story."""
    actions.fill_return(phone, part="arm_left", defect="snapped in two")

    def swallow(route: Route) -> None:
        if route.request.method == "POST":
            route.fetch(max_redirects=0)
            route.abort("connectionreset")
        else:
            route.continue_()

    phone.route("**/ask/return/*", swallow)
    actions.press(phone, "File the return")
    phone.wait_for_url("chrome-error://**")
    assert Request.objects.count() == 1
    phone.unroute("**/ask/return/*")
    phone.goto("/ask/return/")
    _still_there(phone)
    actions.press(phone, "File the return")
    expect(phone).to_have_url(re.compile("/story/"))
    expect(phone.locator(".reference")).to_have_text(Request.objects.get().reference)


def test_back_and_another_content_is_asked_about_and_then_filed_anew(
    phone: Page, shop: Shop
) -> None:
    """Somebody with two broken frames goes back, changes the part and sends: two requests."""
    actions.file_return(phone, part="arm_left", defect="snapped in two")
    phone.go_back()
    actions.tap(phone, "front")
    actions.press(phone, "File the return")
    expect(phone.locator(".error-summary")).to_be_visible()
    actions.press(phone, "File the return")
    expect(phone).to_have_url(re.compile("/story/"))
    assert sorted(Request.objects.values_list("component", flat=True)) == ["arm_left", "front"]
