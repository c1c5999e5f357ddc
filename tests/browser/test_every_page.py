"""Every page of every role: no accessibility violation, no overflow, no complaint in the console.

Checked against WCAG 2.0 to 2.2, levels A and AA, as far as axe-core's rules of those tags reach;
what a machine cannot see is not claimed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.contrib import admin
from django.contrib.auth.models import User
from django.urls import resolve, reverse
from playwright.sync_api import Page

from inventory.material.rules import grinding
from inventory.models import Place
from returns.filing.rules import intake
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.grading.sums import PolymerCheck
from returns.mending.rules import mending
from returns.models import Request, ReturnedFrame
from returns.setup.rules import ownerrights
from tests.browser import addresses, chromium, kept
from tests.makers import NOON, Shop, key, opening
from tests.returns import customer_makers as customers
from tests.returns import workroom_makers as workroom
from tests.returns.bench_makers import on_shelf

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("lasting_files"),
]

TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]
OPTIONS = {"runOnly": {"type": "tag", "values": TAGS}, "resultTypes": ["violations"]}
ONLY_COLOURS = {
    "runOnly": {"type": "rule", "values": ["color-contrast"]},
    "resultTypes": ["violations"],
}
ONLY_WIDTH: dict[str, Any] = {}
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


UNNAMED = """[...document.querySelectorAll('table')].filter(one =>
!one.caption?.textContent.trim() && !one.ariaLabel && !one.hasAttribute('aria-labelledby'))
.map(one => one.innerText.slice(0, 60))"""


# Every closed part is opened first, for it hides what is too wide as well as what is wrong.
_SIDEWAYS = """() => {
  document.querySelectorAll("details").forEach(one => { one.open = true; });
  return [...document.querySelectorAll(".table-scroll")]
    .filter(one => one.scrollWidth > one.clientWidth + 1)
    .map(one => one.innerText.slice(0, 60));
}"""


def _too_wide(page: Page) -> list[str]:
    """On a phone a table stands on end: none is moved sideways to be read."""
    page.set_viewport_size(chromium.PHONE)
    return [f"{page.url}: moved sideways on a phone: {text}" for text in page.evaluate(_SIDEWAYS)]


def _wrong(page: Page, axe: Axe, who: str) -> list[str]:
    found = [f"{page.url} has a table without a name: {text}" for text in page.evaluate(UNNAMED)]
    found += _too_wide(page)
    for viewport, colours, options in VIEWS:
        page.set_viewport_size(viewport)
        page.emulate_media(color_scheme=colours)
        found += _violations(page, axe, options) if options else []
        reach = page.evaluate("document.documentElement.scrollWidth")
        if reach > viewport["width"]:
            found.append(f"{page.url} is {reach} wide at {viewport['width']}")
        # Two of the five are enough for eyes, and a picture costs as much as a check.
        if options is OPTIONS:
            kept.picture(page, f"{who} {addresses.shape(page.url)} {viewport['width']} {colours}")
    return found


_AXE = "options => axe.run(document, options).then(found => found.violations)"


def _violations(page: Page, axe: Axe, options: dict[str, Any]) -> list[str]:
    """What axe-core finds wrong on the page as it stands, with the first places of each.

    It is half a megabyte of script, and put into each page once for all its views.
    """
    if not page.evaluate("() => 'axe' in window"):
        page.evaluate(axe.axe_script)
    return [
        f"{page.url} {page.viewport_size} {violation['id']} "
        f"{[node['target'] for node in violation['nodes'][:3]]}"
        for violation in page.evaluate(_AXE, options)
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
    "olga": {
        "owner/",
        "owner/claims/",
        "owner/lifetimes/",
        "owner/personal/",
        "owner/personal/<str:reference>/",
        "owner/personal/<str:reference>/erase/",
        "owner/sold/",
    },
}


def _asked_about() -> list[str]:
    """Pages about somebody's data, which no link leads to: one types the reference."""
    awaited = Request.objects.filter(state="awaited").first()
    assert awaited is not None
    request = intake.withdraw(key=key(), request=awaited, at=NOON)
    return [f"/owner/personal/{request.reference}/", f"/owner/personal/{request.reference}/erase/"]


@pytest.fixture
def staff(bea: User, acke: User, olga: User) -> dict[str, User]:
    return {"bea": bea, "acke": acke, "olga": olga}


@pytest.mark.timeout(900)
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
    more = {"nobody": list(busy.values()), "olga": _asked_about() if who == "olga" else []}
    starts = STARTS[who] + more.get(who, [])
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


# The admin's own style sheets are pieced together by @import, which axe-core's preload trips over.
# It is the framework's page: what the desktop shows of it is all that there is, in both schemes.
ADMIN_VIEWS = [
    (chromium.PHONE, "light", ONLY_COLOURS | {"preload": False}),
    (chromium.DESKTOP, "dark", OPTIONS | {"preload": False}),
]

FADED = "Promise.all(document.getAnimations().map(one => one.finished)).then(() => true)"


def _admin_pages(page: Page) -> Iterator[str]:
    """Open the index, and of each table its list and a form: of its first row, else an empty one.

    The framework draws both from the same fields.
    """
    page.goto(reverse("admin:index"))
    yield page.url
    for model in [one for one in admin.site._registry if one._meta.app_label in ownerrights.APPS]:
        name = f"admin:{model._meta.app_label}_{model._meta.model_name}"
        page.goto(reverse(f"{name}_changelist"))
        row = page.locator("#result_list th a").first
        adds = page.locator(".object-tools .addlink").count()
        first = row.get_attribute("href") if row.count() else None
        form = first or (reverse(f"{name}_add") if adds else None)
        yield page.url
        if form:
            page.goto(form)
            yield page.url


@pytest.mark.timeout(900)
def test_every_page_of_the_admin_is_fit_for_everybody(
    open_visitors: Callable[..., Any], busy: dict[str, str], olga: User
) -> None:
    User.objects.filter(pk=olga.pk).update(is_staff=True)
    page, axe, wrong, seen = open_visitors().page(user=olga), Axe(), [], 0
    for address in _admin_pages(page):
        seen += 1
        for viewport, colours, options in ADMIN_VIEWS:
            page.set_viewport_size(viewport)
            page.emulate_media(color_scheme=colours)
            # Its links fade from one scheme into the other: half way none has its contrast.
            page.evaluate(FADED)
            wrong += _violations(page, axe, options)
            reach = page.evaluate("document.documentElement.scrollWidth")
            if reach > viewport["width"]:
                wrong.append(f"{address} is {reach} wide at {viewport['width']}")
    kept.lines("axe admin", [*wrong, f"{seen} pages, {len(wrong)} wrong"])
    assert seen > 40
    assert not wrong, "\n".join(wrong)


TRANSLATED = sorted({code for code, _name in settings.LANGUAGES} - {"en"})


@pytest.mark.timeout(900)
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
        data, reach = page.evaluate(
            "[document.documentElement].flatMap(e => [e.lang, e.scrollWidth])"
        )
        if data != language or reach > chromium.PHONE["width"]:
            wrong.append(f"{address} is in {data!r} and {reach} wide")
        wrong += _too_wide(page)
    if "/go/F-2345/" in starts:
        visitors.expect_complaint("404 (Not Found)")
    assert seen > 10
    assert not wrong, "\n".join(wrong)
