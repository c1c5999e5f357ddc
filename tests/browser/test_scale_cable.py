"""A scale on a cable: its lines read, and the whole way from a port to a weighed frame.

Every line here is our own invention; no scale was recorded and no maker's format is claimed. The
port is a fake in the page: no scale hung on this machine.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.contrib.auth.models import User
from playwright.sync_api import Page, expect

from returns.models import ReturnedFrame
from tests.browser import chromium
from tests.makers import Shop
from tests.returns import customer_makers as customers

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

STATIC = Path(__file__).resolve().parents[2] / "returns" / "static" / "returns"
MARKS = {
    "steady": "S ST",
    "unsteady": "U US D ?",
    "over": "OL OVER ERR",
    "aside": "T PT TARE TOTAL",
    "passed": "G GS GROSS N NT NET",
}

LINES = [
    ("ST,GS,+  24.31 g", "steady", "24.31 g"),
    ("S 24.31 g", "steady", "24.31 g"),
    ("  24,31 g ST", "steady", "24,31 g"),
    ("ST NT 00024.310 g", "steady", "24.310 g"),
    ("st n .45g", "steady", "0.45 g"),
    ("S 1.204 kg", "steady", "1.204 kg"),
    ("S 24310 mg", "steady", "24310 mg"),
    ("S 24.31 G", "steady", "24.31 g"),
    ("G S 24.31 g", "steady", "24.31 g"),
    ("\x02ST 24.31 g\x03", "steady", "24.31 g"),
    ("S 0 kg", "zero", "0 kg"),
    ("ST 0.00 g", "zero", "0.00 g"),
    ("US 24.29 g", "unsteady", "24.29 g"),
    ("ST US 24.29 g", "unsteady", "24.29 g"),
    ("24.29 g ?", "unsteady", "24.29 g"),
    ("S -  3.10 g", "negative", "-3.10 g"),
    ("ST,NT,-3.10 g", "negative", "-3.10 g"),
    ("OL", "over", ""),
    ("ST OL 24.31 g", "over", "24.31 g"),
    ("T 5.00 g", "aside", "5.00 g"),
    ("ST PT 5.00 g", "aside", "5.00 g"),
    ("TOTAL 48.62 g ST", "aside", "48.62 g"),
    ("24.31 g", "unreadable mark", "24.31 g"),
    ("ST 24.31", "unreadable unit", ""),
    ("ST 24.31 lb", "unreadable unit", ""),
    ("ST 24.31 Mg", "unreadable unit", ""),
    ("ST 24.31 gS", "unreadable unit", ""),
    ("ST 1,024.31 g", "unreadable figure", ""),
    ("ST 1 024.31 g", "unreadable figure", ""),
    ("ST 24.31 g 24.31 g", "unreadable figure", ""),
    ("2026-11-25 14:05", "unreadable figure", ""),
    ("ST ---- g", "unreadable figure", ""),
    ("hello", "unreadable figure", ""),
    ("ST 24.31 g CRC", "unreadable word", "24.31 g"),
    ("ST 24.31 g \u00ff\u00fe", "unreadable word", "24.31 g"),
]


@pytest.fixture
def reader(open_visitors: Callable[..., Any]) -> Page:
    """An empty page with the reader of lines and nothing else."""
    page: Page = open_visitors().page()
    page.goto("about:blank")
    page.add_script_tag(path=STATIC / "scale_lines.js")
    return page


def _read(page: Page, line: str, marks: dict[str, str]) -> tuple[str, str]:
    read = page.evaluate("([line, marks]) => scaleLines.read(line, marks)", [line, marks])
    return f"{read['kind']} {read['why']}".strip(), read["mass"]


def test_each_line_is_taken_for_what_it_says_and_for_no_more(reader: Page) -> None:
    found = [(line, *_read(reader, line, MARKS)) for line, _kind, _mass in LINES]
    assert found == LINES


def test_marks_are_what_the_settings_say(reader: Page) -> None:
    own = MARKS | {"steady": "OK =", "unsteady": "MOVING"}
    assert _read(reader, "OK 24.31 g", own) == ("steady", "24.31 g")
    assert _read(reader, "MOVING 24.31 g", own) == ("unsteady", "24.31 g")
    assert _read(reader, "ST 24.31 g", own) == ("unreadable word", "24.31 g")


def test_without_a_mark_for_steady_what_is_not_unsteady_is_steady(reader: Page) -> None:
    bare = MARKS | {"steady": " "}
    assert _read(reader, "24.31 g", bare) == ("steady", "24.31 g")
    assert _read(reader, "24.31 g U", bare) == ("unsteady", "24.31 g")
    assert _read(reader, "24.31 g X", bare) == ("unreadable word", "24.31 g")


def _split(page: Page, chunks: list[str]) -> list[str]:
    source = "(chunks) => { const split = scaleLines.splitter(); return chunks.flatMap(split); }"
    lines: list[str] = page.evaluate(source, chunks)
    return lines


@pytest.mark.parametrize("end", ["\r\n", "\r", "\n", "\n\r"])
def test_lines_are_whole_wherever_the_chunks_are_cut(reader: Page, end: str) -> None:
    sent = end.join(["US 24.29 g", "ST 24.31 g", "OL", ""])
    whole = ["US 24.29 g", "ST 24.31 g", "OL"]
    for cut in range(len(sent) + 1):
        assert _split(reader, [sent[:cut], sent[cut:]]) == whole
    assert _split(reader, list(sent)) == whole


def test_a_line_without_an_end_is_not_given_out(reader: Page) -> None:
    assert _split(reader, ["ST 24.31 g"]) == []
    assert _split(reader, ["ST 2", "4.3", "1 g", "\r"]) == ["ST 24.31 g"]


def test_what_never_ends_is_dropped_and_the_next_line_is_whole(reader: Page) -> None:
    assert _split(reader, ["x" * 90] * 50 + ["\rST 24.31 g\r"]) == ["ST 24.31 g"]
    assert _split(reader, ["7" * 120 + "\r", "7" * 121 + "\r"]) == ["7" * 120]


# A port as the page sees one. `scale.send` stands for the scale, `scale.opened` keeps with what
# options the port was opened.
FAKE_PORT = """
(() => {
  const opened = [];
  let feed = null;
  const port = {
    readable: null,
    getInfo: () => ({ usbVendorId: 1, usbProductId: 2 }),
    async open(options) {
      if (port.readable) throw new DOMException("open already", "InvalidStateError");
      opened.push(options);
      port.fresh();
    },
    async close() { port.readable = null; },
    fresh() {
      port.readable = new ReadableStream({ start(controller) { feed = controller; } });
    },
  };
  const granted = () => sessionStorage.getItem("granted") === "yes";
  window.scale = {
    opened,
    send: (text) => feed.enqueue(Uint8Array.from(text, (c) => c.charCodeAt(0))),
    garble: () => { const was = feed; port.fresh(); was.error(new Error("framing")); },
    unplug: () => { port.readable = null; feed.error(new Error("gone")); },
  };
  const serial = new EventTarget();
  serial.requestPort = async () => { sessionStorage.setItem("granted", "yes"); return port; };
  serial.getPorts = async () => (granted() ? [port] : []);
  Object.defineProperty(navigator, "serial", { value: serial, configurable: true });
})();
"""
NO_SERIAL = "Object.defineProperty(Navigator.prototype, 'serial', { get: () => undefined });"


@pytest.fixture
def visitors(open_visitors: Callable[..., Any]) -> Any:
    return open_visitors(viewport=chromium.DESKTOP)


@pytest.fixture
def bench(visitors: Any, bea: User, shop: Shop) -> Page:
    """The first frame of a parcel waits to be weighed in, on a machine with a fake port."""
    page: Page = visitors.page(user=bea)
    page.add_init_script(FAKE_PORT)
    _open_parcel(page, shop)
    return page


def _open_parcel(page: Page, shop: Shop) -> None:
    filed = customers.sent_back(shop)
    page.goto(f"/bench/request/{filed.reference}/")
    fold = page.get_by_text("Scale by cable", exact=True)
    if fold.is_visible():
        fold.click()


def _send(page: Page, text: str) -> None:
    page.evaluate("(text) => window.scale.send(text)", text)


def _state(page: Page) -> Any:
    return page.locator("[data-cable=state]")


def test_from_the_port_to_a_weighed_frame_without_a_mouse(bench: Page) -> None:
    bench.get_by_role("button", name="Connect a scale by cable").press("Enter")
    mass = bench.get_by_label("Mass", exact=True)
    expect(mass).to_be_focused()
    _send(bench, "US 23.90 g\r\n")
    expect(_state(bench)).to_have_text("unsteady: wait")
    expect(bench.locator("[data-cable=reading]")).to_have_text("23.90 g")
    bench.keyboard.press("Space")
    expect(bench.get_by_text("Nothing is taken until the reading is steady.")).to_be_visible()
    expect(mass).to_have_value("")

    _send(bench, "ST 24")
    _send(bench, ".31 g\r\n")
    expect(_state(bench)).to_have_text("steady")
    mass.press("Space")
    expect(mass).to_have_value("24.31 g")
    expect(bench.get_by_text("24.31 g is filled in: Mass.")).to_be_visible()
    washed = bench.get_by_label("It is washed, disinfected and dry")
    expect(washed).to_be_focused()
    bench.get_by_label("Scale", exact=True).select_option(label="Fine scale")
    washed.press("Space")
    bench.get_by_role("button", name="Weigh it in: nothing else is in it").press("Enter")
    expect(bench.locator(".notice-good strong.code")).to_be_visible()
    assert ReturnedFrame.objects.get().reading.typed == "24.31 g"


def test_the_server_still_refuses_what_the_scale_cannot_show(visitors: Any, bench: Page) -> None:
    """The box scale shows whole grams."""
    bench.get_by_role("button", name="Connect a scale by cable").click()
    _send(bench, "ST 24.31 g\r\n")
    bench.get_by_role("button", name="Take it").click()
    bench.get_by_label("Scale", exact=True).select_option(label="Box scale")
    bench.get_by_label("It is washed, disinfected and dry").check()
    bench.get_by_role("button", name="Weigh it in: nothing else is in it").click()
    expect(bench.locator(".error-summary")).to_contain_text("This scale shows steps of")
    assert not ReturnedFrame.objects.exists()
    visitors.expect_complaint("422")


def test_port_and_speed_are_remembered_by_this_browser(bench: Page) -> None:
    bench.get_by_label("Speed, baud").select_option("2400")
    bench.get_by_label("Framing").select_option("7-even")
    bench.get_by_label("Marks of a steady reading").fill("OK")
    bench.get_by_role("button", name="Connect a scale by cable").click()
    bench.reload()
    _send(bench, "OK 24.31 g\r\n")
    expect(_state(bench)).to_have_text("steady")
    expected = {"baudRate": 2400, "dataBits": 7, "parity": "even", "stopBits": 1}
    assert bench.evaluate("window.scale.opened") == [expected]
    kept = json.loads(bench.evaluate("localStorage.getItem('scale-cable')"))
    assert (kept["baud"], kept["steady"]) == ("2400", "OK")

    bench.get_by_text("Scale by cable", exact=True).click()
    bench.get_by_role("button", name="Disconnect").click()
    bench.reload()
    bench.get_by_text("Scale by cable", exact=True).click()
    expect(bench.get_by_role("button", name="Connect a scale by cable")).to_be_visible()


def test_a_scale_that_sends_at_its_key_fills_the_field_by_itself(bench: Page) -> None:
    bench.get_by_label("A reading is taken").select_option("line")
    bench.get_by_role("button", name="Connect a scale by cable").click()
    mass = bench.get_by_label("Mass", exact=True)
    _send(bench, "US 24.29 g\r\n")
    expect(_state(bench)).to_have_text("unsteady: wait")
    bench.wait_for_timeout(600)
    expect(mass).to_have_value("")
    _send(bench, "ST 24.31 g\r\n")
    expect(mass).to_have_value("24.31 g")


def test_a_stream_of_lines_is_not_taken_by_itself_but_for_its_first(bench: Page) -> None:
    bench.get_by_label("A reading is taken").select_option("line")
    bench.get_by_role("button", name="Connect a scale by cable").click()
    _send(bench, "ST 24.31 g\r\n" * 20)
    bench.wait_for_timeout(600)
    expect(bench.get_by_label("Mass", exact=True)).to_have_value("")


def test_a_garbled_stream_goes_on_and_a_lost_scale_says_so(bench: Page) -> None:
    bench.get_by_role("button", name="Connect a scale by cable").click()
    bench.evaluate("window.scale.garble()")
    expect(bench.get_by_text("What came was garbled.")).to_be_visible()
    _send(bench, "ST 24.31 g\r\n")
    expect(_state(bench)).to_have_text("steady")
    bench.evaluate("window.scale.unplug()")
    expect(bench.get_by_text("The scale is gone")).to_be_visible()
    expect(bench.get_by_role("button", name="Connect a scale by cable")).to_be_visible()


def test_a_reading_goes_stale(bench: Page) -> None:
    bench.get_by_role("button", name="Connect a scale by cable").click()
    _send(bench, "ST 24.31 g\r\n")
    expect(_state(bench)).to_have_text("steady")
    expect(_state(bench)).to_have_text("no line lately", timeout=10_000)
    bench.get_by_role("button", name="Take it").press("Enter")
    expect(bench.get_by_text("Nothing is taken until")).to_be_visible()
    expect(bench.get_by_label("Mass", exact=True)).to_have_value("")


def test_a_browser_that_cannot_says_so_in_a_line(visitors: Any, bea: User, shop: Shop) -> None:
    page: Page = visitors.page(user=bea)
    page.add_init_script(NO_SERIAL)
    _open_parcel(page, shop)
    expect(page.get_by_text("This browser cannot read a scale by cable.")).to_be_visible()
    expect(page.get_by_role("button", name="Connect a scale by cable")).to_be_hidden()


def test_without_scripts_nothing_of_it_is_shown(visitors: Any, bea: User, shop: Shop) -> None:
    page: Page = visitors.page(user=bea, java_script_enabled=False)
    _open_parcel(page, shop)
    expect(page.locator("[data-scale-cable]")).to_be_hidden()
    expect(page.get_by_label("Mass", exact=True)).to_be_visible()


def test_pages_may_use_a_port_of_their_own_and_no_frame_may(client: Any) -> None:
    assert "serial=(self)" in client.get("/enter/").headers["Permissions-Policy"]
