"""The whole job in the browser, as each person does it: scripts or none, phone or desk."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from returns.models import ReturnedFrame
from tests.browser import actions, chromium, kept
from tests.makers import Shop

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

PHONE_WITH_SCRIPTS = pytest.param(chromium.PHONE, True, id="phone")
PHONE_WITHOUT = pytest.param(chromium.PHONE, False, id="phone_no_scripts")
DESKTOP_WITH_SCRIPTS = pytest.param(chromium.DESKTOP, True, id="desktop")
DESKTOP_WITHOUT = pytest.param(chromium.DESKTOP, False, id="desktop_no_scripts")
EVERY_WAY = pytest.mark.parametrize(
    ("viewport", "scripts"),
    [PHONE_WITH_SCRIPTS, PHONE_WITHOUT, DESKTOP_WITH_SCRIPTS, DESKTOP_WITHOUT],
)


def _says(page: Page, text: str) -> None:
    """The page says so; how it looked then is kept."""
    expect(page.locator("main")).to_contain_text(text)
    width = (page.viewport_size or {}).get("width", 0)
    kept.picture(page, f"job {width} {text}")


@pytest.fixture
def staff(bea: User, ben: User, acke: User, olga: User) -> None:
    """Everybody of the workshop has an account."""


@EVERY_WAY
def test_a_broken_arm_is_mended_and_posted(
    viewport: dict[str, int],
    scripts: bool,
    open_visitors: Callable[..., Any],
    shop: Shop,
    bea: User,
) -> None:
    visitors = open_visitors(viewport=viewport, java_script_enabled=scripts)
    wanda, bench = visitors.page(), visitors.page()
    reference = actions.file_return(wanda, part="arm_left", defect="snapped in two")
    assert actions.fetch_slip(wanda).startswith(b"%PDF-")
    story = wanda.url

    actions.sign_in(bench, "bea")
    tag = actions.weigh_in(bench, reference, "24,31")
    actions.look_over(bench, part="Left arm", defect="snapped", onward="Take it and start mending")
    actions.mend(bench, mass="24,33", part=shop.arm.code)
    actions.prove(bench, "Tag of the frame", tag)
    actions.press(bench, "It is in the post")
    _says(bench, f"{tag} is posted.")

    wanda.goto(story)
    _says(wanda, "posted")
    frame = ReturnedFrame.objects.get(tag=tag)
    assert (frame.state, frame.reading.mass_mg) == ("posted", 24_310)


@EVERY_WAY
def test_a_broken_front_is_ground_and_every_gram_is_reported(
    viewport: dict[str, int],
    scripts: bool,
    open_visitors: Callable[..., Any],
    shop: Shop,
    staff: None,
) -> None:
    visitors = open_visitors(viewport=viewport, java_script_enabled=scripts)
    hands = {name: visitors.page() for name in ("bea", "ben", "acke", "olga")}
    reference = actions.file_return(visitors.page(), part="front", defect="snapped in two")
    for name, page in hands.items():
        actions.sign_in(page, name)
    bench, second = hands["bea"], hands["ben"]
    tag = actions.weigh_in(bench, reference, "24,82")
    actions.look_over(bench, part="Front", defect="snapped", onward="Take it and go on to strip")
    actions.strip(bench)
    _says(bench, f"{tag} is in its box.")

    run = actions.propose(bench)
    _says(bench, "Somebody else must now confirm it")
    expect(bench.get_by_role("button", name="Confirm: grind this box")).to_have_count(0)
    actions.confirm(second, run, "box-pp-slate-post_consumer_return")
    actions.weigh_out_run(second, flake="19,00", dust="0,40")
    _says(second, "Finished. The lot is in stock.")

    _the_month_adds_up(hands["acke"])
    hands["olga"].goto("/owner/")
    _says(hands["olga"], "Frames received: 1; mended and posted: 0; boxed to be ground: 1;")


def _the_month_adds_up(page: Page) -> None:
    """What the scale showed is what the month shows: 19.40 g in, 0.40 g lost, 19.00 g left."""
    page.goto("/months/")
    actions.follow(page, "2026-10")
    _says(page, "19.40")
    actions.follow(page, "Read the whole report")
    expect(page.locator("details.report-part")).not_to_have_count(0)
    closed = page.locator("details.report-part:not([open]) > summary")
    while closed.count():
        closed.first.click()
    rows = {
        "All boxes and lots": "0.000 19.400 19.000 −19.000 −0.400 19.000",
        "with wearers": "0.000 −24.820 −24.820",
        "lens waste": "0.000 5.200 5.200",
        "metal waste": "0.000 0.220 0.220",
    }
    assert {head: _masses(page, head) for head in rows} == rows


def _masses(page: Page, head: str) -> str:
    """A row's masses in grams, each of which says how well it is known if it is not nothing."""
    name = page.get_by_role("rowheader", name=head, exact=True)
    row = page.get_by_role("row").filter(has=name)
    expect(row).to_have_count(1)
    data = filter(None, row.get_by_role("cell").all_inner_texts())
    cells = [re.split(r"\s*±\s*", text) for text in data]
    assert [len(cell) > 1 for cell in cells] == [cell[0] != "0.000" for cell in cells]
    return " ".join(cell[0] for cell in cells)


@EVERY_WAY
def test_spare_screws_are_asked_for_and_posted(
    viewport: dict[str, int],
    scripts: bool,
    open_visitors: Callable[..., Any],
    shop: Shop,
    bea: User,
) -> None:
    visitors = open_visitors(viewport=viewport, java_script_enabled=scripts)
    wanda, bench = visitors.page(), visitors.page(user=bea)
    reference = actions.ask_screws(wanda)
    bench.goto("/bench/?step=kits")
    actions.follow(bench, "Pack and post kits")
    actions.follow(bench, reference)
    actions.press(bench, "It is in the post")
    _says(bench, f"Done: {reference}.")
    wanda.reload()
    _says(wanda, "posted")
