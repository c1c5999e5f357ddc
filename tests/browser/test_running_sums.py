"""The sums that run along while masses are typed: exact, and of one mind with the service."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from inventory.material.rules import grinding, material
from inventory.material.rules.grinding import is_nothing
from inventory.models import Movement, Place
from inventory.weighing.sums.masses import MASS_MG_MAX, MassTextError, parse_mass_mg
from tests.browser import chromium
from tests.browser.actions import press
from tests.browser.scanner import scan
from tests.inventory.material.test_material import delivery
from tests.makers import NOON, Shop, key, opening
from tests.returns import material_makers
from tests.returns.regrind.test_stripdown import to_strip

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STATIC = Path(__file__).resolve().parents[2] / "returns" / "static" / "returns"
TYPED = (
    *("", "0", "0,00 g", "0 kg", "19.40", "19,4", "24.31 g", "24,310 kg", "220 mg", "0.105"),
    *(
        "1.234",
        "1,234",
        "1.234,5",
        "1,234.5",
        "1'234,5 g",
        "24 310 mg",
        "1 234 567 mg",
        "1,234,567",
    ),
    *("1.23.4", "12.34.567", "0,024", "0.0245", "0.0240", "24.31 G", "24 Mg", "24 KG", "24 oz"),
    *(
        "-3",
        ".5",
        "5.",
        "abc",
        "1e3",
        "٣",
        "24\u202f310 mg",
        "1\u2019234 g",
        "1000000 kg",
        "1000001 kg",
    ),
    *("9" * 40, "9" * 41, "1 23", "12,34,5", "001.500", "0'001", "5 000.25"),
)
# The division and capacity of a scale, in mg; none at all, as before a scale is chosen.
SCALES = ((1, MASS_MG_MAX), (1, 220_000), (10, 200_000), (1_000, 15_000_000), (5_000, 60_000_000))


def _service(typed: str, step: int, most: int) -> int | None:
    if is_nothing(typed):
        return 0
    try:
        return parse_mass_mg(typed, resolution_mg=step, capacity_mg=most)
    except MassTextError:
        return None


def test_a_typed_mass_reads_alike_in_the_browser_and_in_the_service(
    open_visitors: Callable[..., Any],
) -> None:
    page = open_visitors().page()
    page.goto("about:blank")
    page.add_script_tag(content=(STATIC / "mass_text.js").read_text())
    cases = [[typed, str(step), str(most)] for step, most in SCALES for typed in TYPED]
    read = page.evaluate(
        """cases => cases.map(([typed, step, most]) => {
          const mg = massText.read(typed, { step: BigInt(step), most: BigInt(most) });
          return mg === null ? null : Number(mg);
        })""",
        cases,
    )
    expected = [_service(typed, int(step), int(most)) for typed, step, most in cases]
    assert [*zip(cases, read, strict=True)] == [*zip(cases, expected, strict=True)]
    assert len({mg for mg in expected if mg}) > 10


def _says(page: Page, *words: str) -> None:
    for told in words:
        expect(page.locator("form[data-running]")).to_contain_text(told, use_inner_text=True)


def test_the_heaps_of_a_frame_add_up_beside_the_books(
    open_visitors: Callable[..., Any], shop: Shop, bea: User
) -> None:
    frame = to_strip(shop, bea)
    page = open_visitors(viewport=chromium.DESKTOP).page(user=bea)
    page.goto(f"/bench/frame/{frame.tag}/strip/")
    far = page.get_by_text("may need a reason")
    page.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    page.get_by_label("Clean frame material").fill("19,40")
    page.get_by_label("Lenses", exact=True).fill("4.50")
    _says(page, "Heaps together\t23.90 g")
    total_mg = frame.reading.mass_mg
    for left_mg, is_far in ((200, False), (201, True), (0, False), (-200, False), (-201, True)):
        page.get_by_label("Screws and metal").fill(f"{total_mg - 23_900 - left_mg} mg")
        word = "It adds up" if left_mg == 0 else "Still missing" if left_mg > 0 else "Too much"
        _says(page, word, *([f"0.{abs(left_mg):03}".rstrip("0").ljust(4, "0")] if left_mg else []))
        expect(far).to_be_visible(visible=is_far)
    page.get_by_label("Screws and metal").fill("a pinch")
    _says(page, "A mass cannot be read yet", "Heaps together\t23.90 g")


def test_the_loss_of_a_run_is_told_before_it_is_sent(
    open_visitors: Callable[..., Any], shop: Shop, bea: User, ben: User
) -> None:
    """At the limit of 6 % it passes, a milligram over it is held; the purge of another colour is
    no loss."""
    opening(100_000, shop)
    run = grinding.propose(key=key(), box=Place.objects.get(kind="box"), at=NOON, by=bea)
    facts = {"seen_mg": run.box_mg, "scanned": run.box.code, "at": NOON, "by": ben}
    grinding.confirm(key=key(), run=run, **facts)
    page = open_visitors(viewport=chromium.DESKTOP).page(user=ben)
    page.goto(f"/bench/run/{run.code}/")
    page.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    for flake, lost, word in (
        ("94", "6.00 g · 6.00 %", "within the limit"),
        ("93,999", "6.001 g · 6.01 %", "will be held"),
        ("100.001", "−0.001 g", "More is weighed out"),
    ):
        page.get_by_label("Flake", exact=True).fill(flake)
        _says(page, f"Lost\t{lost}", word)
    page.get_by_label("Flake", exact=True).fill("90")
    page.get_by_label("Purge", exact=True).fill("6 g")
    _says(page, "Weighed out together\t96.00 g", "Lost\t10.00 g", "will be held")
    page.get_by_label("The colour changed").check()
    _says(page, "Lost\t4.00 g", "within the limit")


def test_a_scan_picks_a_lots_row_and_the_picked_ones_add_up(
    open_visitors: Callable[..., Any], shop: Shop, bea: User
) -> None:
    lots = [material.receive_as_lot(**delivery(shop, bea)) for _ in range(3)]
    page = open_visitors(viewport=chromium.DESKTOP).page(user=bea)
    page.goto("/bench/stock/issue/")
    picked = page.locator("[data-picked] [data-lot]")
    expect(picked).to_have_count(0)
    page.get_by_label("For production batch").fill("AV-2610")
    page.get_by_label("Scale", exact=True).select_option(label="Box scale")
    scan(page, lots[1].code)
    expect(picked).to_have_count(1)
    page.locator(":focus").fill("2 kg")
    page.locator("[data-lots] > summary").click()
    page.get_by_role("button", name=f"Take from it {lots[2].code}").click()
    page.locator(":focus").fill("1500 g")
    _says(page, "Together\t3500.00 g")
    unread = page.locator("[data-picked] [data-unscanned]:visible")
    expect(unread).to_have_count(1)
    scan(page, lots[2].code)
    expect(unread).to_have_count(0)
    page.get_by_role("button", name=f"Leave it out {lots[1].code}").click()
    _says(page, "Together\t1500.00 g")
    expect(page.get_by_label("Labels of the lots")).to_have_value(lots[2].code)
    press(page, "Issue it")
    expect(page.get_by_text("Done: Issue flake to moulding.")).to_be_visible()
    assert Movement.objects.filter(kind="issue").get().postings.get().quantity == 1_500_000


def test_the_shares_of_a_card_are_shown_while_it_is_weighed(
    open_visitors: Callable[..., Any], shop: Shop, olga: User, bea: User
) -> None:
    """70 % and 30 %, within 2 %: at 7.2 kg of 10 the limit is met, a gram more misses it."""
    tideline = material_makers.blend(shop, olga)
    for colour in (shop.slate, shop.moss):
        material_makers.lot_of(shop, colour, "12 kg", bea)
    card = material_makers.card(shop, bea, tideline)
    page = open_visitors(viewport=chromium.DESKTOP).page(user=bea)
    page.goto(f"/bench/cards/{card.code}/")
    row = page.locator("tr[data-share=slate]")
    expect(row.locator("[data-reached]")).to_have_text("–")
    page.get_by_label("Scale", exact=True).select_option(label="Box scale")
    slate, moss = (page.locator(f"input[data-colour={name}]") for name in ("slate", "moss"))
    for first, second, reached, is_kept in (
        ("7.2 kg", "2800 g", "72.00 %", True),
        ("7201 g", "2.799 kg", "72.01 %", False),
        ("7 kg", "3 kg", "70.00 %", True),
    ):
        slate.fill(first)
        moss.fill(second)
        expect(row.locator("[data-reached]")).to_have_text(reached)
        expect(row.get_by_text("kept")).to_be_visible(visible=is_kept)
        expect(row.get_by_text("missed")).to_be_visible(visible=not is_kept)
