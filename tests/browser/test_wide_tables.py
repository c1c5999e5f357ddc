"""What a window shows: nothing on a staff page is cut or moved sideways at a desk's width, and a
table too wide for a tablet scrolls in its own region and still says whose figures they are."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.test import Client

from tests.access import staff_pages
from tests.access.conftest import arguments, people  # noqa: F401  fixtures of the walk over doors
from tests.browser import chromium, kept
from tests.makers import Shop, opening

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("lasting_files"),
]

# The words of each row's name, where the screen shows them, against the region's left edge.
_OUT_OF_SIGHT = """region => {
  region.scrollLeft = region.scrollWidth;
  const edge = region.getBoundingClientRect().left;
  return [...region.querySelectorAll("tbody th")].filter(name => {
    const words = document.createRange();
    words.selectNodeContents(name);
    return words.getBoundingClientRect().left < edge;
  }).map(name => name.textContent);
}"""


def test_the_names_of_rows_stay_in_sight_while_their_table_scrolls(
    open_visitors: Callable[..., Any], shop: Shop, acke: User
) -> None:
    opening(400_000, shop)
    page = open_visitors(viewport=chromium.TABLET).page(user=acke)
    page.goto("/months/2026-10/report/")
    region = page.locator(".table-scroll").first
    assert region.locator("tbody th").count() > 2
    assert region.evaluate("region => region.scrollWidth > region.clientWidth")
    assert region.evaluate(_OUT_OF_SIGHT) == []
    assert region.evaluate("region => region.scrollLeft") > 0


# Whatever is closed is opened first. Cut is what does not show all of its own words, and what
# reaches beyond the window; what only readers hear is left out.
_CUT = """() => {
  document.querySelectorAll("details").forEach(one => { one.open = true; });
  const name = one => `${one.tagName}.${one.className} ${one.innerText?.slice(0, 40)}`;
  const wide = document.documentElement.scrollWidth > innerWidth ? ["the page itself"] : [];
  const seen = [...document.querySelectorAll("main *, header *, footer *")].filter(one =>
    one.checkVisibility() && !one.closest(".visually-hidden, svg, option"));
  const moved = seen.filter(one => one.matches(".table-scroll, .chart, [tabindex='0'][role=region]")
    && one.scrollWidth > one.clientWidth + 1);
  const hidden = seen.filter(one => getComputedStyle(one).overflowX !== "visible"
    && !one.matches("input, textarea, select") && one.scrollWidth > one.clientWidth + 1);
  const out = seen.filter(one => one.getBoundingClientRect().right > innerWidth + 1);
  return [...wide, ...[...moved, ...hidden, ...out].map(name)];
}"""


@pytest.mark.timeout(600)
def test_nothing_on_a_staff_page_is_cut_at_a_desks_width_in_any_language(
    open_visitors: Callable[..., Any],
    shop: Shop,
    arguments: dict[str, str],  # noqa: F811
    bea: User,
    olga: User,
) -> None:
    opening(400_000, shop)
    looks, wrong, seen = Client(), [], 0
    looks.force_login(olga)
    languages = [code for code, _name in settings.LANGUAGES]
    windows = [
        open_visitors(viewport=chromium.DESKTOP, locale=language).page(user=olga)
        for language in languages
    ]
    for paths in staff_pages.addresses(shop, arguments, bea, olga).values():
        for path in paths:
            if looks.get(path, follow=True).status_code != 200:
                continue
            seen += 1
            for language, page in zip(languages, windows, strict=True):
                page.goto(path)
                wrong += [f"{language} {path}: {told}" for told in page.evaluate(_CUT)]
    kept.lines("cut", [*wrong, f"{seen} pages, {len(wrong)} wrong"])
    assert seen > len(staff_pages.ROWS)
    assert not wrong, "\n".join(wrong[:40])
