"""An empty installation, from the printed link to its first filed and weighed return."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.core.management import call_command
from playwright.sync_api import Page, expect

from inventory.models import Event
from returns.models import FrameModel, Request, ReturnedFrame
from tests.browser import actions, chromium
from tests.browser.test_every_page import OPTIONS

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PASSWORD = "saltmarsh-lantern-42"
OWN = "curlew-over-the-dyke-7"


def printed_path() -> str:
    out = io.StringIO()
    call_command("firstowner", "--name", "olga", stdout=out)
    match = re.search(r"http\S+?(/enter/first/\S+)", out.getvalue())
    assert match is not None
    return match[1]


def is_fit(page: Page) -> None:
    """Neither too wide for a phone nor in the way of a reader."""
    assert page.evaluate("document.documentElement.scrollWidth") <= chromium.PHONE["width"]
    violations = Axe().run(page, options=OPTIONS).response["violations"]
    assert [violation["id"] for violation in violations] == [], page.url


def fill(page: Page, **facts: str) -> None:
    for name, text in facts.items():
        page.locator(f"main [name={name}]").fill(text)


def claim(page: Page, path: str) -> None:
    page.goto(path)
    fill(page, new_password1=PASSWORD, new_password2=PASSWORD)
    actions.press(page, "Set it and go on")
    expect(page.locator("h1")).to_have_text("Set up the workshop")
    expect(page.locator("main")).to_contain_text("0 of 6 needed steps are done")


def onward(page: Page, title: str) -> None:
    """The link to the next step that is still to be done."""
    actions.follow(page, f"Next: {title}")
    expect(page.locator("h1")).to_have_text(title)


def furnish(page: Page, check: Callable[[Page], None]) -> None:
    actions.follow(page, "The workshop")
    expect(page.locator("h1")).to_have_text("The workshop")
    check(page)
    fill(page, name="Reedbed Frames", address="9 Weir Road\n12345 Saltmarsh")
    fill(page, email="reedbed@example.org")
    actions.press(page, "Keep them")
    onward(page, "Scales")
    check(page)
    fill(page, name="Fine scale", division_mg="0,01 g", verification_mg="0.1 g")
    fill(page, capacity_mg="600 g", minimum_mg="2 g")
    actions.press(page, "Add the scale")
    onward(page, "Polymer")
    fill(page, code="PP", name="Polypropylene")
    actions.press(page, "Add the polymer")
    onward(page, "Colours")
    check(page)
    fill(page, name="Slate")
    actions.press(page, "Add the colour")
    # Blends and what may go with what can wait: the way on leads past them.
    page.goto("/owner/setup/parts/")
    check(page)
    fill(page, name="Hinge screw M1.4", nominal_mg="0.105 g", price_minor="0,09")
    page.locator("[name=screw_size]").select_option("M1.4")
    actions.press(page, "Add the part")


def first_model(page: Page, check: Callable[[Page], None]) -> None:
    onward(page, "A model and its bill of materials")
    check(page)
    fill(page, name="Avocet", new_frame_cost="14,80", front="11,2 g", arm="4.15", lens="2600 mg")
    page.get_by_label("Slate").check()
    page.locator("[name=screw_part]").select_option(label="Hinge screw M1.4")
    actions.press(page, "Add the model")


def remedies_and_limits(page: Page, check: Callable[[Page], None]) -> None:
    # Components of another material can wait as well.
    page.goto("/owner/setup/remedies/")
    check(page)
    actions.press(page, "Take the ticked ones")
    onward(page, "Your limits")
    check(page)
    actions.press(page, "Keep them")


def terms(page: Page, check: Callable[[Page], None]) -> None:
    """What it costs, and who pays the postage: told before anybody files."""
    onward(page, "Costs, postage and waiting")
    check(page)
    fill(page, mending_minor="0", kit_minor="0")
    for name in ("postage_in_paid_by", "postage_back_paid_by"):
        page.locator(f"main [name={name}][value=workshop]").check()
    actions.press(page, "Keep them")


def hire(page: Page, name: str) -> str:
    """Make a bench login; the password that is shown once."""
    fill(page, name=name)
    page.get_by_label("bench: weighs in").check()
    actions.press(page, "Make the login")
    return page.locator("#new-password").inner_text()


@pytest.mark.timeout(600)
@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no_scripts"])
def test_an_empty_workshop_takes_its_first_return_within_the_hour(
    open_visitors: Callable[..., Any], scripts: bool
) -> None:
    visitors = open_visitors(viewport=chromium.PHONE, java_script_enabled=scripts)
    check: Callable[[Page], None] = is_fit if scripts else (lambda _page: None)
    customer, owner, bench = visitors.page(), visitors.page(), visitors.page()
    customer.goto("/")
    expect(customer.locator("h1")).to_have_text("Not open yet")

    claim(owner, printed_path())
    check(owner)
    furnish(owner, check)
    first_model(owner, check)
    customer.goto("/ask/return/")
    expect(customer.locator("h1")).to_have_text("Not open yet")
    remedies_and_limits(owner, check)
    terms(owner, check)
    onward(owner, "Holidays and closing days")
    actions.press(owner, "Keep them")
    onward(owner, "Imprint, telephone and logo")
    actions.press(owner, "Keep them")
    actions.follow(owner, "Next: People and their logins")
    password = hire(owner, "bea")
    check(owner)
    actions.follow(owner, "Back to the checklist")
    expect(owner.locator("main")).to_contain_text("You can take the first return")
    check(owner)

    reference = actions.file_return(customer, part="arm_left", defect="snapped in two")
    bench.goto("/enter/")
    fill(bench, username="bea", password=password)
    actions.press(bench, "Enter")
    fill(bench, old_password=password, new_password1=OWN, new_password2=OWN)
    actions.press(bench, "Set the new password")
    tag = actions.weigh_in(bench, reference, "24,31")

    assert Request.objects.get().reference == reference
    assert ReturnedFrame.objects.get(tag=tag).reading.mass_mg == 24_310
    assert FrameModel.objects.get().components.count() == 7
    entered = Event.objects.filter(name__regex=r"^(masters|furnishing|staff)\.")
    assert entered.count() == 13  # twelve steps entered, and the owner found
    assert entered.filter(actor=None).count() == 1
