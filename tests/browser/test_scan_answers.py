"""What a scan does for the hand: it proves the right thing, opens another, and loses no words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, Request, expect

from inventory.ledger.rules import places
from inventory.ledger.sums import codes
from inventory.material.rules import grinding, material
from inventory.models import Event, GrindRun, Place
from returns.models import ReturnedFrame
from tests.browser import chromium
from tests.browser.actions import press
from tests.browser.scanner import scan
from tests.inventory.material.test_material import delivery, pots
from tests.makers import NOON, Shop, key, opening
from tests.returns import customer_makers as customers
from tests.returns import workroom_makers as workroom
from tests.returns.bench_makers import on_shelf

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def visitors(open_visitors: Callable[..., Any]) -> Any:
    return open_visitors(viewport=chromium.DESKTOP)


@pytest.fixture
def frames(shop: Shop, bea: User) -> list[ReturnedFrame]:
    """Two frames on the shelf."""
    return [on_shelf(shop, bea, customers.sent_back(shop)) for _ in range(2)]


@pytest.fixture
def run(shop: Shop, bea: User) -> GrindRun:
    """A box of slate that Bea proposed; beside it stands one of moss."""
    opening(42_320, shop)
    material.open_box(**delivery(shop, bea, material=pots(shop, colour=shop.moss)))
    box = Place.objects.get(kind="box", colour=shop.slate)
    return grinding.propose(key=key(), box=box, at=NOON, by=bea)


def test_half_a_look_over_waits_while_another_frame_is_scanned(
    visitors: Any, frames: list[ReturnedFrame], bea: User
) -> None:
    page, before = visitors.page(user=bea), Event.objects.count()
    page.goto(f"/bench/frame/{frames[0].tag}/look/")
    page.get_by_label("ours: mark, colour and feel are right").check()
    tick = page.get_by_role("checkbox", name="left arm: snapped", exact=True)
    tick.check()
    scan(page, frames[1].tag)
    expect(page.locator("h1 .code")).to_have_text(frames[1].tag)
    note = page.locator("#draft-left")
    expect(note).to_contain_text("What you had begun is kept")
    note.get_by_role("link", name=f"Look over {frames[0].tag}").click()
    expect(page.locator("#draft-back")).to_be_visible()
    expect(tick).to_be_checked()
    expect(page.locator("#draft-left")).to_be_hidden()
    assert Event.objects.count() == before


def test_half_a_weigh_in_comes_back_without_the_ticks_about_the_thing_in_the_hand(
    visitors: Any, frames: list[ReturnedFrame], shop: Shop, bea: User
) -> None:
    """What was typed waits; that it is washed, or not ours, is said anew of what is held then."""
    slip = customers.sent_back(shop).reference
    page, before = visitors.page(user=bea), Event.objects.count()
    page.goto(f"/bench/request/{slip}/")
    mass, washed = page.get_by_label("Mass", exact=True), page.get_by_label("It is washed")
    mass.fill("24,31")
    washed.check()
    page.locator("input[name=is_stranger]").evaluate("box => box.click()")
    scan(page, frames[1].tag)
    expect(page.locator("h1 .code")).to_have_text(frames[1].tag)
    page.locator("#draft-left a").click()
    expect(mass).to_have_value("24,31")
    expect(washed).not_to_be_checked()
    expect(page.locator("input[name=is_stranger]")).not_to_be_checked()
    assert Event.objects.count() == before


def test_a_form_without_a_draft_of_its_own_is_kept_as_well_until_it_is_sent(
    visitors: Any, frames: list[ReturnedFrame], olga: User
) -> None:
    page = visitors.page(user=olga)
    page.goto("/owner/setup/parts/")
    name = page.get_by_label("Name", exact=True)
    name.fill("Nose pad")
    scan(page, f"http://127.0.0.1/go/{frames[1].tag}/")
    expect(page.locator("h1 .code")).to_have_text(frames[1].tag)
    page.locator("#draft-left a").click()
    expect(name).to_have_value("Nose pad")
    press(page, "Add the part")
    page.goto("/owner/setup/parts/")
    expect(page.locator("#draft-back")).to_be_hidden()
    visitors.complaints.clear()


def test_the_second_hand_scans_another_box_and_then_the_right_one(
    visitors: Any, run: GrindRun, ben: User, shop: Shop
) -> None:
    page = visitors.page(user=ben)
    page.goto(f"/bench/run/{run.code}/")
    other = Place.objects.get(kind="box", colour=shop.moss)
    label = page.get_by_label("Label of the box")
    page.evaluate("document.activeElement.blur()")
    scan(page, other.code)
    expect(label).to_have_value(other.code)
    assert GrindRun.objects.get().state == "proposed"
    press(page, "Confirm: grind this box")
    refusal = page.locator(".field-error")
    for words in ("Box PP Moss", "5000.000 g", "Box PP Slate", "42.320 g"):
        expect(refusal).to_contain_text(words)
    scan(page, run.box.code)
    expect(label).to_have_value(run.box.code)
    expect(page.locator("#scan-said")).to_contain_text("Nothing is noted before you press")
    press(page, "Confirm: grind this box")
    expect(page.get_by_text("Confirmed. The box may be ground.")).to_be_visible()
    visitors.expect_complaint("422 (Unprocessable Entity)")


def test_a_lots_scan_leads_to_the_field_for_its_mass(visitors: Any, shop: Shop, bea: User) -> None:
    lots = [material.receive_as_lot(**delivery(shop, bea)) for _ in range(2)]
    page = visitors.page(user=bea)
    page.goto("/bench/stock/issue/")
    for lot in lots:
        scan(page, lot.code)
        expect(page.locator(f"[data-label='{lot.code}']")).to_be_focused()
    expect(page.get_by_label("Labels of the lots")).to_have_value(
        "".join(f"{lot.code}\n" for lot in lots)
    )


def test_a_part_is_proved_by_its_bin_and_another_frame_is_opened(
    visitors: Any, shop: Shop, bea: User, frames: list[ReturnedFrame]
) -> None:
    frame = workroom.graded(shop, bea, workroom.NEW_ARM)
    workroom.opened(frame, bea)
    page, here = visitors.page(user=bea), f"/bench/frame/{frame.tag}/mend/"
    page.goto(here)
    page.get_by_label("Minutes", exact=True).focus()
    scan(page, places.bin_of(shop.arm).code)
    expect(page.get_by_label("Labels of the bins")).to_have_value("bin-arm-avocet\n")
    expect(page.get_by_label("Minutes", exact=True)).to_have_value("8")
    scan(page, frames[0].tag)
    expect(page.locator("h1 .code")).to_have_text(frames[0].tag)


def test_what_is_no_code_of_ours_presses_and_changes_nothing(
    visitors: Any, shop: Shop, bea: User
) -> None:
    frame = workroom.graded(shop, bea, workroom.POLISH)
    page = visitors.page(user=bea)
    page.goto(f"/bench/frame/{frame.tag}/mend/")
    page.get_by_role("button", name="Start mending").focus()
    scan(page, "4006381333931")
    expect(page.locator("#scan-said")).to_have_text(
        "What was scanned is no code of ours. Nothing was done."
    )
    assert ReturnedFrame.objects.get(pk=frame.pk).state == "to_mend"


def _sent(page: Page) -> list[str]:
    sent: list[str] = []

    def note(request: Request) -> None:
        if request.method == "POST":
            sent.append(request.url)

    page.on("request", note)
    return sent


@pytest.mark.parametrize("scripts", [True, False], ids=["scripts", "no-scripts"])
def test_enter_in_a_field_sends_nothing(
    scripts: bool,
    open_visitors: Callable[..., Any],
    shop: Shop,
    bea: User,
    ben: User,
    run: GrindRun,
    frames: list[ReturnedFrame],
) -> None:
    checked = workroom.opened(workroom.graded(shop, bea, workroom.POLISH), bea)
    workroom.do(checked, bea)
    steps = workroom.graded(shop, bea, workroom.NEW_ARM)
    workroom.opened(steps, bea)
    page = open_visitors(java_script_enabled=scripts).page(user=ben)
    sent, before = _sent(page), Event.objects.count()
    for address in (
        f"/bench/frame/{frames[0].tag}/look/",
        f"/bench/parcel/{frames[0].parcel.code}/",
        f"/bench/frame/{checked.frame.tag}/mend/",
        f"/bench/frame/{steps.tag}/mend/",
        f"/bench/run/{run.code}/",
        "/bench/parcel/book/",
    ):
        page.goto(address)
        fields = page.locator("main form[method=post] input:not([type=hidden]):visible")
        for index in range(min(fields.count(), 8)):
            fields.nth(index).focus()
            page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    assert sent == []
    assert Event.objects.count() == before


def test_the_browser_and_the_service_agree_which_codes_hold(
    visitors: Any, shop: Shop, bea: User
) -> None:
    """The check of each kind of code; a code with one wrong character is no code of ours."""
    del shop
    page = visitors.page(user=bea)
    page.goto("/bench/")
    page.route("**/go/?*", lambda route: route.fulfill(status=204))
    for letter in codes.KIND_BY_PREFIX:
        code = codes.new_code(letter)
        page.evaluate("document.activeElement.blur()")
        with page.expect_request("**/go/?*") as opened:
            scan(page, code.lower().replace("-", ""))
        assert opened.value.url.endswith(f"code={code}")
        wrong = code[:-1] + next(sign for sign in codes.ALPHABET if sign != code[-1])
        scan(page, wrong)
        data = page.locator("#scan-said")
        expect(data).to_contain_text("no code of ours")
        data.evaluate("node => { node.textContent = ''; }")


def test_a_test_scan_says_what_arrived_and_calls_nobody_back(
    visitors: Any, frames: list[ReturnedFrame], bea: User
) -> None:
    page = visitors.page(user=bea)
    page.goto("/bench/devices/")
    field, told = page.get_by_label("Test scan"), page.locator("#scan-result")
    scan(page, frames[0].tag)
    expect(told).to_contain_text("the Enter key")
    expect(told).to_contain_text(frames[0].tag)
    # The answer to one scan comes while the next is on its way, with the focus elsewhere.
    scan(page, frames[0].tag)
    page.get_by_role("button", name="What is it?").focus()
    scan(page, frames[1].tag)
    expect(field).to_have_value(frames[1].tag)
