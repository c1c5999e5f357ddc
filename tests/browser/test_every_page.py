"""Every page of every role: no accessibility violation, no overflow, no complaint in the console.

Checked against WCAG 2.0 to 2.2, levels A and AA, as far as axe-core's rules of those tags reach;
what a machine cannot see is not claimed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.contrib.auth.models import User
from django.urls import resolve
from playwright.sync_api import Page

from inventory import grinding
from inventory.models import Place
from returns import intake, lookover, mending
from returns.gradingfacts import Seen
from returns.lookover import Look
from returns.models import ReturnedFrame
from returns.sums.grading import PolymerCheck
from tests.browser import addresses, chromium, kept
from tests.makers import NOON, Shop, key, opening
from tests.returns import customer_makers as customers
from tests.returns import workroom_makers as workroom
from tests.returns.bench_makers import on_shelf

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
OPTIONS = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]}
ONLY_COLOURS = {
    "runOnly": {"type": "rule", "values": ["color-contrast"]},
    "resultTypes": ["violations"],
}
ONLY_WIDTH = None
# Everything at both outer widths, once in each scheme; of the other two, what a scheme can change.
VIEWS = [
    (chromium.PHONE, "light", OPTIONS),
    (chromium.PHONE, "dark", ONLY_COLOURS),
    (chromium.TABLET, "light", ONLY_WIDTH),
    (chromium.DESKTOP, "dark", OPTIONS),
    (chromium.DESKTOP, "light", ONLY_COLOURS),
]


@pytest.fixture
def busy(shop: Shop, bea: User, ben: User) -> dict[str, str]:
    """A workshop with something in every state; the links that only customers have."""
    opening(400_000, shop)
    request = customers.sent_back(shop)
    box = Place.objects.get(kind="box")
    grinding.propose(key=key(), box=box, at=NOON, by=ben)
    on_shelf(shop, bea, customers.sent_back(shop))
    for part, defect in (("arm_left", "snapped"), ("front", "snapped"), ("arm_right", "cracked")):
        _graded(shop, bea, part, defect)
    workroom.opened(_graded(shop, bea, "arm_left", "snapped"), bea)
    mended = workroom.opened(_graded(shop, bea, "front", "scuffed"), bea)
    workroom.do(mended, bea)
    mending.check(key=key(), job=mended, check=workroom.PASS, at=NOON, by=bea)
    workroom.weigh_out(mended, shop, bea, "24.800 g")
    kit = customers.asked_screws(shop)
    return {
        name: f"/story/{intake.link_secret(asked)}/"
        for name, asked in {"return": request, "kit": kit}.items()
    }


def _graded(shop: Shop, by: User, part: str, defect: str) -> ReturnedFrame:
    frame = on_shelf(shop, by, customers.sent_back(shop))
    look = Look(findings=[Seen(part, defect)], polymer=PolymerCheck.OURS)
    lookover.grade(key=key(), frame=frame, look=look, at=NOON, by=by)
    return ReturnedFrame.objects.get(pk=frame.pk)


def _wrong(page: Page, axe: Axe, who: str) -> list[str]:
    found = []
    for viewport, colours, options in VIEWS:
        page.set_viewport_size(viewport)
        page.emulate_media(color_scheme=colours)
        found += _violations(page, axe, options) if options else []
        reach = page.evaluate("document.documentElement.scrollWidth")
        if reach > viewport["width"]:
            found.append(f"{page.url} is {reach} wide at {viewport['width']}")
        kept.picture(page, f"{who} {addresses.shape(page.url)} {viewport['width']} {colours}")
    return found


def _violations(page: Page, axe: Axe, options: dict[str, Any]) -> list[str]:
    """What axe-core finds wrong on the page as it stands, with the first places of each."""
    return [
        f"{page.url} {page.viewport_size} {violation['id']} "
        f"{[node['target'] for node in violation['nodes'][:3]]}"
        for violation in axe.run(page, options=options).response["violations"]
    ]


STARTS = {
    "nobody": ["/", "/find/", "/enter/", "/notice/"],
    "bea": ["/desk/", "/enter/password/", "/go/", "/go/F-2345/", "/bench/"],
    "acke": ["/desk/", "/months/"],
    "olga": ["/desk/", "/owner/"],
}


# Pages that the crawl must have reached: an empty crawl would find nothing wrong.
MUST_BE_SEEN = {
    "nobody": {"ask/return/", "ask/screws/", "story/<str:secret>/", "guide/<slug:model>/"},
    "bea": {"bench/", "bench/frame/<str:tag>/", "bench/frame/<str:tag>/mend/", "bench/stock/"},
    "acke": {"months/", "months/<str:label>/", "months/<str:label>/report/", "movements/"},
    "olga": {"owner/", "owner/claims/", "owner/lifetimes/", "owner/sold/"},
}


@pytest.fixture
def staff(bea: User, acke: User, olga: User) -> dict[str, User]:
    return {"bea": bea, "acke": acke, "olga": olga}


@pytest.mark.timeout(300)
@pytest.mark.parametrize("who", STARTS)
def test_every_page_is_fit_for_everybody(
    who: str,
    open_visitors: Callable[..., Any],
    busy: dict[str, str],
    staff: dict[str, User],
) -> None:
    visitors = open_visitors()
    user = staff.get(who)
    page, axe, wrong, results = visitors.page(user=user), Axe(), [], []
    starts = STARTS[who] + (list(busy.values()) if who == "nobody" else [])
    seen = set()
    # The owner's bench is the bench hand's own, page for page: it is looked at once.
    without = "/bench/" if who == "olga" else ""
    for address in addresses.crawl(page, starts, without=without):
        seen.add(resolve(urlsplit(address).path).route)
        of_page = _wrong(page, axe, who)
        results.append(f"{len(of_page)} wrong  {addresses.shape(address)}")
        wrong += of_page
    if "/go/F-2345/" in starts:
        visitors.expect_complaint("404 (Not Found)")
    kept.lines(f"axe {who}", [*sorted(results), f"{len(results)} pages, {len(wrong)} wrong"])
    assert seen >= MUST_BE_SEEN[who]
    assert not wrong, "\n".join(wrong)


TRANSLATED = sorted({code for code, _name in settings.LANGUAGES} - {"en"})


@pytest.mark.timeout(180)
@pytest.mark.parametrize("language", TRANSLATED)
@pytest.mark.parametrize("who", STARTS)
def test_every_page_fits_a_phone_in_each_language(
    language: str,
    who: str,
    open_visitors: Callable[..., Any],
    busy: dict[str, str],
    staff: dict[str, User],
) -> None:
    """Longer words than English has must not push a page past the edge of a phone."""
    visitors = open_visitors(viewport=chromium.PHONE, locale=language)
    page, wrong, seen = visitors.page(user=staff.get(who)), [], 0
    starts = STARTS[who] + (list(busy.values()) if who == "nobody" else [])
    for address in addresses.crawl(page, starts, without="/bench/" if who == "olga" else ""):
        seen += 1
        told, reach = page.evaluate(
            "[document.documentElement].flatMap(e => [e.lang, e.scrollWidth])"
        )
        if told != language or reach > chromium.PHONE["width"]:
            wrong.append(f"{address} is in {told!r} and {reach} wide")
    if "/go/F-2345/" in starts:
        visitors.expect_complaint("404 (Not Found)")
    assert seen > 10
    assert not wrong, "\n".join(wrong)
