"""Takes pictures of a running demo: one page of each of the four people, or all pages to look at.

    python -m tests.browser.pictures --url http://127.0.0.1:8000 --logins var/demo_logins.txt \\
        --out fixtures/pictures
    ... --all --out /tmp/all-pages
"""

from __future__ import annotations

import argparse
import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

from tests.browser import chromium
from tests.browser.addresses import crawl, shape

BYTES_MAX = 200_000
COLOURS = 128
PEOPLE = {"bench": "bea", "accountant": "acke", "owner": "olga"}
WIDTHS = {"phone": chromium.PHONE, "tablet": chromium.TABLET, "desktop": chromium.DESKTOP}


def logins(path: Path) -> dict[str, str]:
    """Passwords by user name, from the file that the demo wrote: lines of role, name, password."""
    rows = [line.split() for line in path.read_text(encoding="utf-8").splitlines()]
    return {row[1]: row[2] for row in rows if len(row) == 3}


def compressed(picture: bytes) -> bytes:
    """A PNG with few colours, which is what a page has."""
    small = Image.open(io.BytesIO(picture)).convert("RGB").quantize(COLOURS)
    kept = io.BytesIO()
    small.save(kept, "PNG", optimize=True)
    return kept.getvalue()


@contextmanager
def visit(browser: Browser, url: str, size: str, colours: str = "light") -> Iterator[Page]:
    context = browser.new_context(
        base_url=url,
        viewport=WIDTHS[size],
        color_scheme="dark" if colours == "dark" else "light",
        locale="en-GB",
        reduced_motion="reduce",
    )
    yield context.new_page()
    context.close()


def sign_in(page: Page, name: str, password: str) -> None:
    page.goto("/enter/")
    page.get_by_label("Username").fill(name)
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Enter").click()
    page.wait_for_url("**/desk/")


def keep(page: Page, path: Path, *, whole: bool = False) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    picture = page.screenshot(full_page=whole)
    if not whole:
        picture = compressed(picture)
        if len(picture) > BYTES_MAX:
            raise SystemExit(f"{path.name} has {len(picture)} bytes; {BYTES_MAX} are the most.")
    path.write_bytes(picture)
    print(path, len(picture))


def four_people(browser: Browser, url: str, known: dict[str, str], out: Path) -> None:
    """The README's pictures."""
    with visit(browser, url, "phone") as page:
        page.goto("/ask/return/")
        page.locator("label.pick").first.click()
        page.locator("label.part-arm_left path.body").dispatch_event("click")
        page.locator(".component-choice").scroll_into_view_if_needed()
        page.evaluate("document.querySelector('#part-trouble').scrollIntoView()")
        keep(page, out / "customer.png")
    with visit(browser, url, "desktop") as page:
        sign_in(page, "bea", known["bea"])
        page.goto("/bench/?step=mend")
        page.locator(".big-link").first.click()
        keep(page, out / "bench.png")
    with visit(browser, url, "desktop") as page:
        sign_in(page, "acke", known["acke"])
        page.goto("/months/")
        page.locator("tr:has(.state-closed) th a").first.click()
        page.get_by_role("link", name="Read the whole report").click()
        keep(page, out / "accountant.png")
    with visit(browser, url, "desktop") as page:
        sign_in(page, "olga", known["olga"])
        page.goto("/owner/")
        keep(page, out / "owner.png")


def every_page(
    browser: Browser, url: str, known: dict[str, str], out: Path, story: str | None
) -> None:
    """All pages of all roles, in both schemes, at three widths, for somebody to look at."""
    starts = {"customer": ["/", "/enter/", "/find/", "/no-such-page/"]}
    if story:
        starts["customer"] += [story]
    for role in ("customer", *PEOPLE):
        with visit(browser, url, "desktop") as page:
            if role in PEOPLE:
                sign_in(page, PEOPLE[role], known[PEOPLE[role]])
            begin = starts.get(role, ["/desk/", "/go/", "/enter/password/"])
            for number, address in enumerate(crawl(page, begin), start=1):
                _in_all_sizes(page, out / role, f"{number:03d}{_file_name(address)}")


def _file_name(address: str) -> str:
    return shape(address).replace("/", "_").replace("*", "x").replace("?", "-")[:60]


def _in_all_sizes(page: Page, folder: Path, name: str) -> None:
    for colours in ("light", "dark"):
        page.emulate_media(color_scheme="dark" if colours == "dark" else "light")
        for size, viewport in WIDTHS.items():
            page.set_viewport_size(viewport)  # type: ignore[arg-type]
            wide = page.evaluate("document.documentElement.scrollWidth")
            if wide > viewport["width"]:
                print(f"OVERFLOW {page.url} {wide} at {viewport['width']}")
            if colours == "light" or size != "tablet":
                keep(page, folder / f"{name}-{size}-{colours}.png", whole=True)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0] if __doc__ else "")
    parser.add_argument("--url", required=True)
    parser.add_argument("--logins", required=True, type=Path)
    parser.add_argument("--out", required=True, type=Path)
    parser.add_argument("--all", action="store_true", help="every page, for looking")
    parser.add_argument("--story", help="with --all: the path of a customer's private link")
    data = parser.parse_args()
    known = logins(data.logins)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=str(chromium.PATH), args=chromium.ARGS)
        if data.all:
            every_page(browser, data.url, known, data.out, data.story)
        else:
            four_people(browser, data.url, known, data.out)
        browser.close()


if __name__ == "__main__":
    main()
