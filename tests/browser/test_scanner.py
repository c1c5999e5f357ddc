"""A hand scanner at every staff page, in every sort of field: nothing is noted but by a press.

What a scan does hangs on the sort of the control that has the focus: its element, its type, and
what its attributes ask for. So of each sort the first and the last on a page stand for those
between, as of thirty boxes to tick. Each code of ours, as text and as a link, the right and the
wrong one: it answers the field that asks for one of its kind, else it opens what it names; what
stood in the field stands there again.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import cycle
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.test import Client
from playwright.sync_api import Error, Page, Request, Route, TimeoutError

from inventory.ledger.rules import places
from inventory.ledger.sums.scans import bare
from inventory.models import Event, GrindRun, Lot, Movement, Place
from returns.models import Parcel, ReturnedFrame
from returns.models import Request as Asked
from tests.access import staff_pages
from tests.access.conftest import arguments, people  # noqa: F401  fixtures of the walk over doors
from tests.browser import chromium, kept, scanner
from tests.makers import Shop

pytestmark = [
    pytest.mark.browser,
    pytest.mark.django_db(transaction=True),
    pytest.mark.usefixtures("lasting_files"),
]

BEFORE = "before"
FOREIGN = "4006381333931"
OPENS_MS = 10_000
WRONG_MAX = 20

# Opens what is closed and marks the first and the last control of each sort that can have the
# focus; the first links stand for all of them, which Enter only follows. How many, of how many.
MARK = """() => {
  document.querySelectorAll("details").forEach(one => { one.open = true; });
  const links = [...document.querySelectorAll("main a[href]")].slice(0, 2);
  const fields = [...document.querySelectorAll(
    "input:not([type=hidden]), select, textarea, button, summary")];
  const all = [...fields, ...links].filter(one => one.checkVisibility() && !one.disabled);
  const sort = one => [one.tagName, one.type, one.inputMode, one.readOnly, one.multiple,
    one.id === "code-search", !!one.list, one.form?.method, one.closest("dialog") !== null,
    ...[...one.attributes].filter(is => is.name.startsWith("data-") || is.name.startsWith("hx-"))
      .map(is => `${is.name}=${is.name === "data-scan" || is.name === "data-scan-kind"
        ? is.value : ""}`)].join();
  const sorts = Map.groupBy(all, sort);
  const asked = all.filter(one => [0, -1].some(at => sorts.get(sort(one)).at(at) === one));
  asked.forEach((one, index) => { one.dataset.walked = index; });
  return [asked.length, all.length];
}"""
ASKED = (
    """() => [...document.querySelectorAll("[data-scan-kind]")].map(one => one.dataset.scanKind)"""
)
# Puts the focus there and something in it to be kept; what it holds then, and who should answer.
FOCUS = """([index, kind]) => {
  const wants = one => one.dataset.scan && (!one.dataset.scanKind || one.dataset.scanKind === kind)
    && one.checkVisibility() && !one.disabled;
  const node = document.querySelector(`[data-walked="${index}"]`) ?? document.body;
  if (node === document.body) document.activeElement.blur();
  else node.focus();
  const isWords = node.matches("textarea, input[type=text], input:not([type])");
  if (isWords && !node.dataset.scan) node.value = "before";
  const asks = wants(node) || [...document.querySelectorAll("[data-scan=one], [data-scan=lines]")]
    .some(wants);
  // What is looked up stands in the search for codes, as if it had been typed there.
  const proof = wants(node) || node.id === "code-search";
  return { was: node.value ?? null, checked: node.checked ?? null, asks, proof,
    name: `${node.tagName} ${node.name ?? ""} ${node.type ?? ""}` };
}"""
SEEN = """index => {
  const node = document.querySelector(`[data-walked="${index}"]`) ?? document.body;
  const proofs = [...document.querySelectorAll("[data-scan]")].filter(one => one.value);
  const read = proofs.map(one => one.value.trim());
  const is = { was: node.value ?? null, checked: node.checked ?? null };
  proofs.forEach(one => { one.value = ""; });
  return { ...is, read };
}"""


@dataclass
class Replay:
    """What a browser did while it was scanned at."""

    page: Page
    codes: list[tuple[str, str]]
    wrong: list[str] = field(default_factory=list)
    opened: list[str] = field(default_factory=list)
    sent: list[str] = field(default_factory=list)
    scans: int = 0
    fields: int = 0
    answered: int = 0
    is_scanned_at: bool = False
    address: str = ""

    def __post_init__(self) -> None:
        self.page.on("request", self._note)
        self.page.on("dialog", self._asked)
        # What is opened is looked at elsewhere; "no content" leaves the page where it is.
        self.page.route("**/go/?*", self._lead)

    def _note(self, request: Request) -> None:
        if request.method != "GET":
            self.sent.append(f"{self.page.url}: {request.method} {request.url}")

    def _asked(self, dialog: Any) -> None:
        """A form with a label read into it asks before it is left, by the walk but by no scan."""
        if self.is_scanned_at:
            self.wrong.append(f"{self.page.url} asked {dialog.type} {dialog.message!r}")
        dialog.accept()

    def _lead(self, route: Route) -> None:
        self.opened.append(route.request.url)
        route.fulfill(status=204)

    def at(self, address: str, codes: Iterator[tuple[str, str]]) -> None:
        """Scan with no field in focus, of each kind that the page asks for and of two others; then
        into each field another."""
        self.is_scanned_at = False
        self.address = address
        self.page.goto(address)
        self.is_scanned_at = True
        (fields, all_of_them), asked = self.page.evaluate(MARK), self.page.evaluate(ASKED)
        self.fields += all_of_them
        for code in [*(one for one in self.codes if one[0] in asked), next(codes), next(codes)]:
            self._scan(-1, *code)
        for index in range(fields):
            self._scan(index, *next(codes))

    def _scan(self, index: int, kind: str, text: str) -> None:
        before = self.page.evaluate(FOCUS, [index, kind])
        where = f"{self.page.url} {before['name']} {text}"
        try:
            self._scanned(index, kind, text, before, where)
        except Error as left:
            # A page that is left takes its answers along; whatever was noted still counts.
            if "navigation" not in str(left):
                raise
            self.wrong.append(f"{where}: left the page")
            self.page.goto(self.address)

    def _scanned(
        self, index: int, kind: str, text: str, before: dict[str, Any], where: str
    ) -> None:
        opened = len(self.opened)
        if before["asks"] or not kind:
            scanner.scan(self.page, text)
        else:
            try:
                with self.page.expect_request("**/go/?*", timeout=OPENS_MS):
                    scanner.scan(self.page, text)
            except TimeoutError:
                self.wrong.append(f"{where}: opened nothing")
        after = self.page.evaluate(SEEN, index)
        self.scans += 1
        is_answered = any(bare(text) in read for read in after["read"])
        self.answered += is_answered
        if kind and before["asks"] and (not is_answered or len(self.opened) > opened):
            self.wrong.append(f"{where}: did not answer what the page asks, {after['read']}")
        if kind and not before["proof"] and after["was"] != before["was"]:
            self.wrong.append(f"{where}: {before['was']!r} became {after['was']!r}")
        if after["checked"] != before["checked"]:
            self.wrong.append(f"{where}: was ticked")


def _codes(shop: Shop, base: str) -> list[tuple[str, str]]:
    """Codes of each kind, their letter or word first; of the wrong things as of the right ones."""
    bins, boxes = places.bin_of(shop.screw), list(Place.objects.filter(kind="box"))
    assert len(boxes) > 2
    frames = list(ReturnedFrame.objects.order_by("pk"))
    return [
        ("F", frames[0].tag),
        ("F", f"{base}/go/{frames[-1].tag}/"),
        ("Q", Asked.objects.all()[0].reference),
        ("P", Parcel.objects.all()[0].code),
        ("lot", Lot.objects.all()[0].code),
        ("G", GrindRun.objects.all()[0].code),
        ("box", boxes[0].code),
        ("box", f"{base}/go/{boxes[-1].code}/"),
        ("bin", bins.code),
        ("", FOREIGN),
    ]


@pytest.mark.timeout(900)
def test_no_scan_into_any_field_of_any_staff_page_notes_anything(
    open_visitors: Callable[..., Any],
    live_server: Any,
    shop: Shop,
    arguments: dict[str, str],  # noqa: F811
    bea: User,
    olga: User,
) -> None:
    places_ = staff_pages.addresses(shop, arguments, bea, olga)
    visitors = open_visitors(viewport=chromium.DESKTOP)
    walk = Replay(visitors.page(user=olga), _codes(shop, live_server.url))
    codes, data = cycle(walk.codes), []
    looks = Client()
    looks.force_login(olga)
    before = (Event.objects.count(), Movement.objects.count())
    for route, paths in places_.items():
        pages = [path for path in paths if looks.get(path, follow=True).status_code == 200]
        assert pages, f"{route} shows no page at {paths}"
        for path in pages:
            scans, wrong = walk.scans, len(walk.wrong)
            walk.at(path, codes)
            if len(walk.wrong) > wrong:
                # A stalled machine spreads a burst until it looks like typing by hand. The page
                # gets a second try; whatever was sent or noted in either still counts.
                del walk.wrong[wrong:]
                walk.at(path, codes)
            if len(walk.wrong) > WRONG_MAX:
                break
            data.append(f"{walk.scans - scans:>4} scans  {path}")
    summary = (
        f"{len(data)} pages of {walk.fields} fields, {walk.scans} scans, {walk.answered} answered"
    )
    kept.lines("scanner", [*data, summary])
    assert not walk.wrong, "\n".join(walk.wrong[:40])
    assert not walk.sent, "\n".join(walk.sent)
    assert (Event.objects.count(), Movement.objects.count()) == before
    assert (len(places_), walk.answered > 20) == (len(staff_pages.ROWS), True)
