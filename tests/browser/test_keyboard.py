"""The main job without a mouse: a return filed, a frame graded, by keys alone; what is announced.

README.md beside it tells the same in words, for somebody with a screen reader.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Locator, Page, expect

from returns.filing.rules import intake
from returns.models import Request, ReturnedFrame
from tests.browser import chromium
from tests.browser.scanner import scan
from tests.makers import Shop
from tests.returns import customer_makers as customers
from tests.returns.bench_makers import on_shelf

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
    expect(bench.locator("#code-search")).to_be_focused()
    bench.keyboard.type(filed.reference.lower().replace("-", " "))
    bench.keyboard.press("Enter")
    expect(bench.get_by_label("Mass", exact=True)).to_be_focused()
    bench.keyboard.type("24,31")
    _tab_to(bench, bench.get_by_label("Scale", exact=True))
    bench.keyboard.type("Fine")
    _press(bench, bench.get_by_label("It is washed, disinfected and dry"), "Space")
    # Enter in a field sends nothing that is noted: only the button does.
    bench.keyboard.press("Enter")
    _press(bench, bench.get_by_role("button", name="Weigh it in: nothing else is in it"))
    expect(bench.get_by_label("ours: mark, colour and feel are right")).to_be_focused()
    bench.keyboard.press("Space")
    _press(bench, _tick(bench, "left arm: snapped"), "Space")
    _press(bench, bench.get_by_role("button", name="Show the answer"))
    expect(bench.locator("#answer")).to_contain_text("The answer: Repair")
    _press(bench, bench.get_by_role("button", name="Take it and start mending"))
    done = bench.get_by_role("button", name="Done, checked and weighed out")
    expect(done).to_be_visible()
    expect(done).not_to_be_focused()
    bench.keyboard.press("F2")
    expect(bench.locator("#code-search")).to_be_focused()
    frame = ReturnedFrame.objects.get()
    assert (frame.reading.mass_mg, frame.state) == (24_310, "mending")


def _tick(page: Page, name: str) -> Locator:
    return page.get_by_role("checkbox", name=name, exact=True)


def _part(page: Page, name: str) -> Locator:
    return page.locator("summary", has_text=re.compile(rf"^{name}( \d|\s*$)"))


@pytest.fixture
def shelved(shop: Shop, bea: User) -> ReturnedFrame:
    """A frame on the shelf whose customer named the left arm."""
    return on_shelf(shop, bea, customers.sent_back(shop))


@pytest.mark.usefixtures("late_scripts")
def test_the_first_key_on_a_page_is_heard_however_late_its_scripts_are(
    bench: Page, shelved: ReturnedFrame
) -> None:
    bench.goto(f"/bench/frame/{shelved.tag}/look/", wait_until="commit")
    expect(bench.get_by_label("ours: mark, colour and feel are right")).to_be_focused()
    bench.keyboard.press("F2")
    expect(bench.locator("#code-search")).to_be_focused()


def test_a_part_of_the_look_over_opens_by_key_and_each_tick_says_its_part(
    open_visitors: Callable[..., Any], bea: User, shelved: ReturnedFrame
) -> None:
    visitors = open_visitors(viewport=chromium.DESKTOP)
    bench: Page = visitors.page(user=bea)
    bench.goto(f"/bench/frame/{shelved.tag}/look/")
    expect(bench.get_by_label("ours: mark, colour and feel are right")).to_be_focused()
    bench.keyboard.press("Space")
    expect(_tick(bench, "left arm: snapped")).to_be_visible()
    expect(_tick(bench, "right hinge: screw hole out of place")).to_be_hidden()
    _press(bench, _part(bench, "Right hinge"))
    _press(bench, _tick(bench, "right hinge: screw hole out of place"), "Space")
    offset = bench.get_by_label("right hinge: how far off its centre, mm", exact=True)
    _tab_to(bench, offset)
    bench.keyboard.type("far")
    _press(bench, bench.get_by_role("button", name="Show the answer"))
    expect(bench.locator(".error-summary")).to_be_focused()
    bench.keyboard.press("Tab")
    bench.keyboard.press("Enter")
    expect(offset).to_be_focused()
    expect(_tick(bench, "right hinge: screw hole out of place")).to_be_checked()
    expect(_part(bench, "Right hinge")).to_have_text("Right hinge 1 ticked")
    visitors.expect_complaint("422 (Unprocessable Entity)")


def test_ticks_that_a_draft_brings_back_stand_open(bench: Page, shelved: ReturnedFrame) -> None:
    bench.goto(f"/bench/frame/{shelved.tag}/look/")
    _part(bench, "Bridge").click()
    _tick(bench, "bridge: cracked elsewhere").check()
    bench.reload()
    expect(_tick(bench, "bridge: cracked elsewhere")).to_be_checked()
    expect(_tick(bench, "bridge: cracked elsewhere")).to_be_visible()
    expect(_part(bench, "Bridge")).to_have_text("Bridge 1 ticked")


def test_a_part_says_how_many_of_its_defects_are_ticked(
    bench: Page, shelved: ReturnedFrame
) -> None:
    """A measure without its tick counts, and one with it counts once, as in the grading."""
    bench.goto(f"/bench/frame/{shelved.tag}/look/")
    hinge = _part(bench, "Left hinge")
    hinge.click()
    expect(hinge).to_have_text("Left hinge")
    _tick(bench, "left hinge: snapped").check()
    expect(hinge).to_have_text("Left hinge 1 ticked")
    bench.get_by_label("left hinge: how far off its centre, mm").fill("0.2")
    expect(hinge).to_have_text("Left hinge 2 ticked")
    _tick(bench, "left hinge: screw hole out of place").check()
    expect(hinge).to_have_text("Left hinge 2 ticked")
    _tick(bench, "left hinge: snapped").uncheck()
    hinge.click()
    expect(hinge).to_have_text("Left hinge 1 ticked")


def test_names_in_the_look_over_are_all_different(bench: Page, shelved: ReturnedFrame) -> None:
    bench.goto(f"/bench/frame/{shelved.tag}/look/")
    names = bench.locator("form[data-keep] label").all_text_contents()
    assert len(names) > 45
    assert len(set(names)) == len(names)


def test_a_hand_scanner_needs_no_field(bench: Page, shop: Shop) -> None:
    """A burst of keys that ends with Enter goes to the search, wherever the focus is."""
    filed = customers.sent_back(shop)
    bench.evaluate("document.activeElement.blur()")
    scan(bench, filed.reference)
    expect(bench.locator("h1 .code")).to_have_text(filed.reference)


def test_a_code_scanned_into_the_field_for_a_mass_is_looked_up(bench: Page, shop: Shop) -> None:
    """The field for the next mass has the focus when the next tag is scanned; a scale that types
    its reading stays in the field."""
    filed, other = customers.sent_back(shop), customers.sent_back(shop)
    bench.goto(f"/bench/request/{filed.reference}/")
    mass = bench.get_by_label("Mass", exact=True)
    expect(mass).to_be_focused()
    bench.keyboard.type("24.31 g")
    expect(mass).to_have_value("24.31 g")
    bench.wait_for_timeout(200)
    scan(bench, other.reference)
    expect(bench.locator("h1 .code")).to_have_text(other.reference)
    bench.go_back()
    expect(bench.get_by_label("Mass", exact=True)).to_have_value("24.31 g")


def test_the_way_back_is_one_key_away_after_an_action(bench: Page, shop: Shop) -> None:
    """The notice links to the form that undoes it; the form's section opens, its field waits."""
    filed = customers.sent_back(shop)
    bench.goto(f"/bench/request/{filed.reference}/")
    expect(bench.get_by_label("Mass", exact=True)).to_be_focused()
    bench.keyboard.type("24,31")
    bench.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    bench.get_by_label("It is washed, disinfected and dry").check()
    _press(bench, bench.get_by_role("button", name="Weigh it in: nothing else is in it"))
    _press(bench, bench.get_by_role("link", name="Wrong mass, or the wrong frame? Undo it"))
    reason = bench.get_by_label("Why the weigh-in is undone")
    expect(reason).to_be_focused()
    bench.keyboard.type("wrong frame")
    _press(bench, bench.get_by_role("button", name="Undo the weigh-in"))
    expect(bench.get_by_text("The weigh-in is undone")).to_be_visible()
    assert ReturnedFrame.objects.get().state == "voided"


def test_a_key_held_down_presses_nothing_on_the_next_page(bench: Page, shop: Shop) -> None:
    filed = customers.sent_back(shop)
    bench.goto(f"/bench/request/{filed.reference}/")
    _tab_to(bench, bench.get_by_role("button", name="Only book it, and weigh it later"))
    bench.evaluate("addEventListener('keydown', (event) => { window.held = event; })")
    for _repeat in range(2):
        bench.evaluate(
            """() => document.activeElement.dispatchEvent(new KeyboardEvent('keydown',
            { key: 'Enter', repeat: true, bubbles: true, cancelable: true }))"""
        )
        assert bench.evaluate("window.held.key === 'Enter' && window.held.defaultPrevented")
    assert filed.parcels.count() == 0


def test_the_skip_link_leads_past_the_head(bench: Page) -> None:
    bench.goto("/desk/")
    bench.keyboard.press("Tab")
    expect(bench.get_by_role("link", name="Skip to the content")).to_be_focused()
    bench.keyboard.press("Enter")
    expect(bench.locator("main")).to_be_focused()


@pytest.fixture
def customer(open_visitors: Callable[..., Any], shop: Shop) -> Page:
    del shop  # without one the forms are not open
    page: Page = open_visitors(viewport=chromium.PHONE).page()
    page.goto("/")
    return page


def test_a_return_is_filed_by_keys_alone_and_the_drawing_follows(
    customer: Page,
) -> None:
    _press(customer, customer.get_by_role("link", name="Send a frame back"))
    _tab_to(customer, customer.get_by_label("Avocet, Moss"))
    customer.keyboard.press("ArrowDown")
    expect(customer.get_by_label("Avocet, Slate")).to_be_checked()
    _tab_to(customer, customer.get_by_label("front", exact=True))
    customer.keyboard.press("ArrowDown")
    customer.keyboard.press("ArrowDown")
    expect(customer.get_by_label("left arm", exact=True)).to_be_checked()
    expect(customer.locator(".tick:visible")).to_have_count(1)
    expect(customer.locator(".tick-arm_left")).to_be_visible()
    _unobscured(customer)
    _tab_to(customer, customer.get_by_label("the screw is loose or keeps coming loose"))
    customer.keyboard.press("ArrowDown")
    customer.keyboard.press("ArrowDown")
    expect(customer.get_by_label("snapped in two")).to_be_checked()
    _press(customer, customer.get_by_label("grind it and mould it"), "Space")
    _tab_to(customer, customer.get_by_label("yes, post my lenses"))
    customer.keyboard.press("ArrowDown")
    for label, text in WANDA.items():
        _tab_to(customer, customer.get_by_label(label, exact=True))
        customer.keyboard.type(text)
    _unobscured(customer)
    _press(customer, customer.get_by_label("I have read what happens"), "Space")
    _press(customer, customer.get_by_role("button", name="File the return"))
    expect(customer.get_by_role("heading", level=1)).to_have_text("Your frame's way")
    filed = Request.objects.get()
    assert (filed.component, filed.defect, filed.wish) == ("arm_left", "snapped", "regrind")


WANDA = {
    "Email": "wanda@example.org",
    "Name": "Wanda Reed",
    "Street and number, or PO box": "7 Towpath",
    "Postal code": "12345",
    "Town or city": "Saltmarsh",
}


def _unobscured(page: Page) -> None:
    """What has the focus is not hidden under the trail, which stays at the window's top."""
    top = page.evaluate("document.activeElement.getBoundingClientRect().top")
    assert top >= page.locator(".trail").evaluate("node => node.getBoundingClientRect().bottom")


def test_errors_take_the_focus_and_lead_to_their_fields(customer: Page) -> None:
    customer.goto("/ask/return/")
    _press(customer, customer.get_by_role("button", name="File the return"))
    expect(customer.locator(".error-summary")).to_be_focused()
    customer.keyboard.press("Tab")
    customer.keyboard.press("Enter")
    expect(customer.get_by_label("Avocet, Moss")).to_be_focused()
    _unobscured(customer)


def test_what_a_screen_reader_is_told_of_the_form(customer: Page) -> None:
    """Roles and names as Chromium's accessibility tree has them; the drawing itself is silent."""
    customer.goto("/ask/return/")
    customer.get_by_label("Avocet, Slate").check()
    customer.get_by_label("left hinge", exact=True).check()
    expect(customer.get_by_role("navigation", name="Parts of this form")).to_match_aria_snapshot(
        """
        - navigation "Parts of this form":
          - list:
            - listitem:
              - link "Frame (filled in)"
            - listitem:
              - link "Trouble"
            - listitem:
              - link "Wish"
            - listitem:
              - link "Address"
            - listitem:
              - link "Send"
          - progressbar "Parts that are filled in"
        """
    )
    where = customer.get_by_role("group", name="Where is it broken?")
    expect(where).to_match_aria_snapshot(
        """
        - group "Where is it broken?":
          - radio "front"
          - radio "bridge"
          - radio "left arm"
          - radio "right arm"
          - radio "left hinge" [checked]
          - radio "right hinge"
          - radio "left hinge screw"
          - radio "right hinge screw"
          - radio "left lens"
          - radio "right lens"
        """
    )
    expect(where.get_by_role("img")).to_have_count(0)
    expect(where).to_have_accessible_description(
        "Tap the part in the drawing or choose it below. Left and right as you wear it."
    )


def test_what_a_screen_reader_is_told_of_the_story(customer: Page, shop: Shop) -> None:
    filed = customers.sent_back(shop)
    customer.goto(f"/story/{intake.renewed_secret(filed)}/")
    expect(customer.locator("main")).to_match_aria_snapshot(
        """
        - heading "Your frame's way" [level=1]
        - 'figure "Where it stands: With you"'
        - heading "Your turn" [level=2]
        - paragraph: Print the slip, put it in the parcel with your frame, post it.
        - paragraph:
          - link "Slip to print (A4)"
        - heading "The story so far" [level=2]
        - list:
          - listitem:
            - text: You told us that a frame is coming back.
        """
    )
