"""What people do in the browser, step by step, as they would: by labels, buttons and codes."""

from __future__ import annotations

import re

from playwright.sync_api import Page, expect

from tests.browser import scanner
from tests.makers import PASSWORD

# Where a finger lands on the drawing, as shares of its width and height.
ON_THE_DRAWING = {
    "front": (115 / 360, 134 / 292),
    "bridge": (180 / 360, 62 / 292),
    "lens_left": (115 / 360, 92 / 292),
    "lens_right": (245 / 360, 92 / 292),
    "arm_left": (22 / 360, 150 / 292),
    "arm_right": (338 / 360, 150 / 292),
    "hinge_left": (140 / 360, 233 / 292),
    "hinge_right": (313 / 360, 72 / 292),
    "screw_left": (107 / 360, 200 / 292),
    "screw_right": (253 / 360, 186 / 292),
}


def sign_in(page: Page, name: str) -> None:
    page.goto("/enter/")
    page.get_by_label("Username").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Enter").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text(f"Good to see you, {name}")


def prove(page: Page, label: str, code: str) -> None:
    """Scan a label into the field that asks for it, as it must be done without scripts."""
    page.get_by_label(label).focus()
    scanner.scan(page, code)


def press(page: Page, name: str) -> None:
    page.get_by_role("button", name=name, exact=True).click()


def follow(page: Page, name: str) -> None:
    page.get_by_role("link", name=name, exact=True).first.click()


def tap(page: Page, part: str) -> None:
    """Tap a part on the drawing itself, not in the list under it."""
    drawing = page.locator(".drawing")
    drawing.scroll_into_view_if_needed()
    box = drawing.bounding_box()
    assert box is not None
    x, y = ON_THE_DRAWING[part]
    page.mouse.click(box["x"] + x * box["width"], box["y"] + y * box["height"])
    expect(page.locator(f"input[name=component][value={part}]")).to_be_checked()


def write_address(page: Page) -> None:
    page.get_by_label("Email").fill("wanda@example.org")
    page.get_by_label("Name", exact=True).fill("Wanda Reed")
    page.get_by_label("Street and number").fill("7 Towpath")
    page.get_by_label("Postal code").fill("12345")
    page.get_by_label("Town or city").fill("Saltmarsh")


def fill_return(page: Page, *, part: str, defect: str) -> None:
    page.goto("/")
    follow(page, "Send a frame back")
    fill_form(page, part=part, defect=defect)


def fill_form(page: Page, *, part: str, defect: str) -> None:
    page.get_by_label("Avocet, Slate").check()
    tap(page, part)
    page.get_by_label(defect).check()
    page.get_by_label("In your own words").fill("It fell off the table.")
    page.locator("input[name=wish][value=regrind]").check()
    page.locator("input[name=lenses_back][value=no]").check()
    write_address(page)
    page.get_by_label("I have read what happens").check()


def file_return(page: Page, *, part: str, defect: str) -> str:
    """File a return; its reference, from the story that opens."""
    fill_return(page, part=part, defect=defect)
    press(page, "File the return")
    expect(page).to_have_url(re.compile("/story/"))
    return page.locator(".reference").inner_text()


def fetch_slip(page: Page) -> bytes:
    """The bytes behind the slip's link; a viewer or a download is the browser's own affair."""
    address = page.get_by_role("link", name="Slip to print (A4)").get_attribute("href")
    assert address is not None
    answer = page.request.get(address)
    assert (answer.status, answer.headers["content-type"]) == (200, "application/pdf")
    return answer.body()


def type_code(page: Page, code: str) -> None:
    page.goto("/desk/")
    page.get_by_label("Code of a frame, parcel, request, lot or run").fill(code)
    press(page, "Go")


def weigh_in(page: Page, reference: str, mass: str) -> str:
    """Open the slip and put the parcel's one frame on the scale; the frame's tag."""
    type_code(page, reference)
    page.get_by_label("Mass", exact=True).fill(mass)
    # A doubt about a scale stands behind its name.
    scale = page.get_by_label("Scale", exact=True)
    named = scale.locator("option", has_text="Fine scale").get_attribute("value")
    scale.select_option(named)
    page.get_by_label("It is washed, disinfected and dry").check()
    press(page, "Weigh it in: nothing else is in it")
    return page.locator(".notice-good strong.code").inner_text()


def look_over(page: Page, *, part: str, defect: str, onward: str) -> None:
    """From the page that the weigh-in leads to: look, see the answer, take it and go on."""
    page.get_by_label("ours: mark, colour and feel are right").check()
    ticked = page.get_by_role("checkbox", name=f"{part.lower()}: {defect}", exact=True)
    if not ticked.is_visible():
        page.get_by_text(part, exact=True).click()
    ticked.check()
    press(page, "Show the answer")
    press(page, onward)


def mend(page: Page, *, mass: str, part: str) -> None:
    """Do the plan's one step, see that all holds, weigh it out: one press."""
    prove(page, "Labels of the bins", f"bin-{part}")
    for line in ("closes_freely", "screw_flush", "lens_held", "no_sharp_edge"):
        page.locator(f"input[name={line}][value=yes]").check()
    page.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    page.get_by_label("Mass", exact=True).fill(mass)
    press(page, "Done, checked and weighed out")


def strip(page: Page) -> None:
    page.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    page.get_by_label("Clean frame material").fill("19,40")
    page.get_by_label(re.compile("^Lenses")).fill("5,20")
    page.get_by_label("Screws and metal").fill("0,22")
    press(page, "Put it in its box")


def propose(page: Page) -> str:
    """Propose the one box that holds something; the run's code."""
    page.goto("/bench/boxes/")
    press(page, "Propose to grind it")
    return page.locator("h1 .code").inner_text()


def confirm(page: Page, run: str, box: str) -> None:
    """Open the run and scan the label of the box; the press is what confirms."""
    type_code(page, run)
    prove(page, "Label of the box", box)
    press(page, "Confirm: grind this box")


def weigh_out_run(page: Page, *, flake: str, dust: str) -> None:
    page.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    page.get_by_label("Flake", exact=True).fill(flake)
    page.get_by_label(re.compile("^Dust")).fill(dust)
    page.get_by_label("Minutes, cleaning included").fill("12")
    press(page, "Finish the run")


def ask_screws(page: Page) -> str:
    """Ask for spare screws; the reference."""
    page.goto("/")
    follow(page, "Ask for spare screws")
    page.get_by_label("Avocet, Slate").check()
    page.locator("label.pick", has_text="left hinge screw").click()
    page.get_by_label("the part is lost").check()
    write_address(page)
    page.get_by_label("I have read what happens").check()
    press(page, "Ask for the screws")
    expect(page).to_have_url(re.compile("/story/"))
    return page.locator(".reference").inner_text()
