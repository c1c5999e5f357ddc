"""The sums that run along while masses are typed: exact, and of one mind with the service."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from inventory.material.rules.grinding import is_nothing
from inventory.weighing.sums.masses import MASS_MG_MAX, MassTextError, parse_mass_mg
from tests.browser import chromium
from tests.makers import Shop
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
