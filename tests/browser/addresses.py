"""Finds the pages of the service as a person does: by following the links, one page of each shape.

Knows nothing of the code: two addresses have one shape when they differ only in codes, numbers,
names of months and private links.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterable, Iterator
from urllib.parse import parse_qs, urljoin, urlsplit

from playwright.sync_api import Page

# Files, the framework's own pages, and what another program's documentation draws.
NOT_PAGES = re.compile(r"\.(pdf|csv|xlsx|json|svg|jpe?g|png)$|^/(admin|api|leave|static|photo)/")
_CODE = re.compile(r"/[^/]*[0-9A-Z][^/]*(?=/|$)")
_FIGURE = re.compile(r"/figure/.*")
_LINKS = "nodes => nodes.filter(n => !n.hasAttribute('download')).map(n => n.getAttribute('href'))"


def shape(address: str) -> str:
    """An address without what tells one thing from another of its kind."""
    parts = urlsplit(address)
    path = _CODE.sub("/*", _FIGURE.sub("/figure/*", parts.path))
    step = parse_qs(parts.query).get("step", [""])[0]
    return f"{path}?step={step}" if step else path


def crawl(
    page: Page, starts: Iterable[str], *, without: str = "", at_most: int = 250
) -> Iterator[str]:
    """Open page after page and yield its address while it is open.

    A page of one shape is opened once, and once more from each step of the bench's queue that
    links to it: so a frame is seen in each of the states that the bench lists. What lies below
    the path `without` is left out.
    """
    waiting = deque((start, "") for start in starts)
    seen: set[tuple[str, str]] = set()
    while waiting and len(seen) < at_most:
        address, origin = waiting.popleft()
        listed = "*" in shape(address) and "?" in origin
        key = (shape(address), origin if listed else "")
        if key in seen or (without and address.startswith(without)):
            continue
        seen.add(key)
        page.goto(address)
        found = _links(page, address)
        yield address
        waiting.extend((link, shape(address)) for link in found)


def _links(page: Page, address: str) -> list[str]:
    hrefs = page.locator("a[href]").evaluate_all(_LINKS)
    local = [urlsplit(urljoin(address, href)) for href in hrefs]
    return [
        part._replace(scheme="", netloc="", fragment="").geturl()
        for part in local
        if not part.netloc and part.scheme in ("", "http") and not NOT_PAGES.search(part.path)
    ]
