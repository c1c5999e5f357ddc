"""A return filed and weighed in by people whose browsers ask for German, with a decimal comma."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from returns.models import ReturnedFrame
from tests.browser import actions, chromium
from tests.makers import Shop

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif("de" not in dict(settings.LANGUAGES), reason="German is not compiled"),
]


def file_return(page: Page) -> str:
    page.goto("/")
    actions.follow(page, "Eine Fassung zurückschicken")
    page.get_by_label("Avocet, Slate").check()
    actions.tap(page, "arm_left")
    page.get_by_label("in zwei Teile gebrochen").check()
    page.locator("input[name=wish][value=regrind]").check()
    page.locator("input[name=lenses_back][value=no]").check()
    page.get_by_label("E-Mail").fill("wanda@example.org")
    page.get_by_label("Name", exact=True).fill("Wanda Ried")
    page.get_by_label("Straße und Hausnummer").fill("Treidelpfad 7")
    page.get_by_label("Postleitzahl").fill("12345")
    page.get_by_label("Ort", exact=True).fill("Salzmarsch")
    page.get_by_label("Ich habe gelesen").check()
    actions.press(page, "Die Rücksendung anmelden")
    expect(page).to_have_url(re.compile("/story/"))
    return page.locator(".reference").inner_text()


def weigh_in(page: Page, reference: str, mass: str) -> None:
    page.goto("/desk/")
    page.get_by_label("Code einer Fassung").fill(reference)
    actions.press(page, "Öffnen")
    page.get_by_label("Masse", exact=True).fill(mass)
    page.get_by_label("Waage", exact=True).select_option(label="Fine scale")
    page.get_by_label("Sie ist gewaschen, desinfiziert und trocken").check()
    actions.press(page, "Einwiegen: Sonst ist nichts darin")


def test_a_return_is_filed_and_weighed_in_with_a_decimal_comma(
    open_visitors: Callable[..., Any], shop: Shop, bea: User
) -> None:
    visitors = open_visitors(viewport=chromium.PHONE, locale="de")
    wanda, bench = visitors.page(), visitors.page(user=bea)
    reference = file_return(wanda)
    expect(wanda.locator("main")).to_contain_text("Sie haben uns mitgeteilt")
    weigh_in(bench, reference, "24,315")
    expect(bench.locator("main")).to_contain_text("mit 24,315 g")
    frame = ReturnedFrame.objects.get()
    assert frame.reading.mass_mg == 24_315
    wanda.reload()
    expect(wanda.locator("main")).to_contain_text(f"Ihre Fassung wurde als {frame.tag} eingewogen.")
