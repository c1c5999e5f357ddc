"""No input of any shape gets a 5xx, and what is refused has written nothing.

Forms are read off the pages themselves and the API's bodies off its own description, so a new
field is asked by itself.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterator
from typing import Any, Final

import pytest
from django.conf import settings
from django.contrib.auth.models import User
from django.core.cache import cache
from django.db import DatabaseError, transaction
from django.http import HttpResponse
from django.test import Client
from django.urls import resolve
from drf_spectacular.generators import SchemaGenerator

from inventory.models import Event, Movement, OutboxMessage, Posting
from returns.setup.pages.steps import PAGES
from returns.stock.pages.stock import ACTIONS
from tests.access import hostile
from tests.access.hostile import Form
from tests.access.table import CALLERS, TABLE
from tests.access.test_walk import address, entered
from tests.makers import CODES, Shop
from tests.returns import workroom_makers as workroom

URLENCODED: Final = "application/x-www-form-urlencoded"
JSON: Final = "application/json"
# Thousands of requests: on a busy machine they take longer than other tests may.
pytestmark = [pytest.mark.timeout(900), pytest.mark.once]
Found = tuple[list[tuple[str, Form]], set[tuple[str, str]]]


@pytest.fixture
def places_to_go(shop: Shop, bea: User, arguments: dict[str, str]) -> dict[str, str]:
    """Pages by the forms that they show: a frame in each state that has some."""
    mending = workroom.graded(shop, bea, workroom.POLISH)
    workroom.opened(mending, bea)
    checked = workroom.graded(shop, bea, workroom.POLISH)
    workroom.do(workroom.opened(checked, bea), bea)
    frames = {
        "mend": [workroom.graded(shop, bea, workroom.POLISH), mending, checked],
        "strip": [workroom.graded(shop, bea, state="to_strip")],
        "post": [
            workroom.mended(shop, bea),
            workroom.graded(shop, bea, state="to_return", wish="post_back"),
        ],
    }
    return {
        f"/bench/frame/{frame.tag}/{page}/": "bench"
        for page, some in frames.items()
        for frame in some
    }


class Browser:
    """A caller's browser. Whatever it changes is taken back, and counted before that."""

    def __init__(self, session: str) -> None:
        self.session = session
        self.slips: list[str] = []
        self._before: list[int] | None = None

    def get(self, path: str) -> HttpResponse:
        return self._send("GET", path, b"", "")

    def post(self, path: str, body: str | bytes, kind: str = URLENCODED) -> HttpResponse:
        return self._send("POST", path, body, kind)

    def _send(self, method: str, path: str, body: str | bytes, kind: str) -> HttpResponse:
        client = Client(raise_request_exception=False)
        if self.session:
            client.cookies[settings.SESSION_COOKIE_NAME] = self.session
        raw = body.encode() if isinstance(body, str) else body
        key = {"Idempotency-Key": "hostile-hostile"}
        cache.clear()
        # All is taken back each time, so what was there before stays the same.
        self._before = self._before or _written()
        with transaction.atomic():
            answer: HttpResponse = client.generic(method, path, raw, content_type=kind, headers=key)
            wrote = answer.status_code >= 400 and _written() not in (self._before, None)
            transaction.set_rollback(True)
        if answer.status_code >= 500:
            self.slips.append(f"{method} {path[:100]} {raw[:200]!r}: {answer.status_code}")
        elif wrote:
            self.slips.append(f"{method} {path[:100]} {raw[:200]!r}: refused, and written")
        return answer


def _written() -> list[int] | None:
    """How many rows of the ledger, the history and the outbox; None in a broken transaction."""
    try:
        return [rows.objects.count() for rows in (Movement, Posting, Event, OutboxMessage)]
    except DatabaseError:
        return None


@pytest.fixture
def browsers(people: dict[str, User]) -> dict[str, Browser]:
    return {caller: Browser(entered(people.get(caller))) for caller in CALLERS}


def may(callers: frozenset[str]) -> str:
    """The least of those whom the table lets in."""
    return next(caller for caller in CALLERS if caller in callers)


def pages(arguments: dict[str, str]) -> Iterator[tuple[str, str]]:
    """Every page with who may see it; those that differ by a word in their address one by one."""
    words = {"bench/stock/<slug:action>/": ACTIONS, "owner/setup/<slug:step>/": PAGES}
    for row in TABLE:
        if not row.get or row.is_api or row.route.endswith((".pdf", ".csv")):
            continue
        for word in words.get(row.route, [""]):
            filled = arguments | {"action": str(word), "step": str(word)} if word else arguments
            yield address(row, filled), may(row.get)


@pytest.fixture
def found(
    browsers: dict[str, Browser], arguments: dict[str, str], places_to_go: dict[str, str]
) -> Found:
    """Every form that posts, once, with its caller; every question that is asked by GET."""
    posted: dict[tuple[str, tuple[str, ...]], tuple[str, Form]] = {}
    asked: set[tuple[str, str]] = set()
    for path, caller in [*pages(arguments), *places_to_go.items()]:
        page = browsers[caller].get(path)
        if page.status_code != 200 or not page["Content-Type"].startswith("text/html"):
            continue
        asked |= set(hostile.asked(page.content, path))
        for form in hostile.forms(page.content, path):
            if form.method == "get":
                asked |= {(form.action, name) for name in form.names}
            else:
                shape = (resolve(form.action).route, form.names)
                posted.setdefault(shape, (caller, form))
    return list(posted.values()), asked


def slips(browsers: dict[str, Browser]) -> str:
    return "\n".join(slip for browser in browsers.values() for slip in browser.slips)


@pytest.mark.parametrize("third", range(3))
def test_no_form_of_any_page_is_broken_by_what_is_sent(
    third: int, browsers: dict[str, Browser], found: Found
) -> None:
    forms, _asked = found
    assert len(forms) > 40
    for caller, form in forms[third::3]:
        post = browsers[caller].post
        for body in form.bodies():
            post(form.action, body)
        for kind, raw in hostile.other_bodies(form):
            post(form.action, raw, kind)
    assert not slips(browsers), slips(browsers)


def test_no_question_of_a_list_is_broken_by_what_is_asked(
    browsers: dict[str, Browser], found: Found
) -> None:
    _forms, asked = found
    names: dict[str, set[str]] = defaultdict(set)
    paths = {resolve(path).route: path for path, _name in asked}
    for path, name in asked:
        names[paths[resolve(path).route]].add(name)
    raw = SchemaGenerator().get_schema(request=None, public=True)
    for path, methods in raw["paths"].items():
        for one in methods.get("get", {}).get("parameters", []):
            if one["in"] == "query" and "{" not in path:
                names[path].add(one["name"])
    assert sum(map(len, names.values())) > 40
    for path, some in names.items():
        for query in hostile.questions(sorted(some)):
            browsers["owner"].get(f"{path}?{query}")
    assert not slips(browsers), slips(browsers)


@pytest.mark.parametrize("api", [False, True], ids=["pages", "api"])
def test_no_address_is_broken_by_what_stands_in_it(
    api: bool, browsers: dict[str, Browser], arguments: dict[str, str]
) -> None:
    for row in (row for row in TABLE if row.is_api == api and "<" in row.route):
        known = address(row, arguments).split("/")
        blank = address(row, dict.fromkeys(arguments, "@")).split("/")
        for value in hostile.IN_ADDRESSES:
            for index in (i for i, step in enumerate(blank) if step.startswith("@")):
                path = "/".join([*known[:index], value, *known[index + 1 :]])
                if row.get:
                    browsers["owner"].get(path)
                else:
                    browsers["owner"].post(path, b"{}", JSON if api else URLENCODED)
    assert not slips(browsers), slips(browsers)


@pytest.mark.parametrize("third", range(3))
def test_no_body_breaks_the_api(
    third: int, browsers: dict[str, Browser], arguments: dict[str, str], shop: Shop
) -> None:
    raw = SchemaGenerator().get_schema(request=None, public=True)
    bodies = hostile.described(raw, CODES | arguments)
    rows = [row for row in TABLE if row.is_api and row.post]
    for row in rows[third::3]:
        path, post = address(row, arguments), browsers["owner"].post
        for broken in hostile.BODIES.values():
            post(path, broken, JSON)
        for kind in (URLENCODED, "application/json; charset=x"):
            post(path, b"{}", kind)
        for body in hostile.spoilt(
            bodies.get("/" + re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", row.route))
        ):
            post(path, body, JSON)
    assert not slips(browsers), slips(browsers)


def test_a_break_is_seen(browsers: dict[str, Browser], monkeypatch: pytest.MonkeyPatch) -> None:
    """The same browser, before an address that fails."""

    def fails(*_sent: Any, **_path: Any) -> None:
        raise OverflowError

    monkeypatch.setattr("returns.bench.queries.queue.today", fails)
    browsers["bench"].get("/bench/")
    assert slips(browsers).endswith(": 500")
