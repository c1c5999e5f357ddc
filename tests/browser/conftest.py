"""Chromium against the live service. What the console complains of fails the test."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.contrib.staticfiles.handlers import StaticFilesHandler
from django.http import HttpRequest, HttpResponseBase
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

from tests.browser import chromium

SCRIPTS_LATE_S = 0.8
# What is waited for comes within a blink; a shared machine may stall for longer than the usual 5 s.
expect.set_options(timeout=20_000)


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    """One browser for all tests of this folder; each visitor has a context of their own in it.

    The sync API keeps an event loop in the test's thread while it runs, which Django takes for
    async code; the folder's scope gives the thread back to the tests that come after.
    """
    if not chromium.is_there():
        (pytest.fail if chromium.must_be_there() else pytest.skip)(chromium.MISSING)
    before = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=str(chromium.PATH), args=chromium.ARGS)
        yield started
        started.close()
    if before is None:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
    else:
        os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = before


@pytest.fixture
def late_scripts(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every script takes its time, as on a phone with one bar; pages and styles do not."""
    serve = StaticFilesHandler.serve

    def late(self: StaticFilesHandler, request: HttpRequest) -> HttpResponseBase:
        if request.path.endswith(".js"):
            time.sleep(SCRIPTS_LATE_S)
        return serve(self, request)

    monkeypatch.setattr(StaticFilesHandler, "serve", late)


@pytest.fixture
def lasting_files(monkeypatch: pytest.MonkeyPatch) -> None:
    """Styles and scripts are fetched once by each visitor, as from a served installation.

    The tests' clock stands months away from the browser's, so they last for long.
    """
    serve = StaticFilesHandler.serve

    def lasting(self: StaticFilesHandler, request: HttpRequest) -> HttpResponseBase:
        answer = serve(self, request)
        answer.headers["Cache-Control"] = "max-age=999999999"
        return answer

    monkeypatch.setattr(StaticFilesHandler, "serve", lasting)


@dataclass
class Visitors:
    """Opens pages, each in a context of its own, and keeps what their consoles complained of."""

    browser: Browser
    base: str
    defaults: dict[str, Any] = field(default_factory=dict)
    complaints: list[str] = field(default_factory=list)
    contexts: list[BrowserContext] = field(default_factory=list)

    def page(self, user: User | None = None, **options: Any) -> Page:
        """A page of a stranger, or of a user who is signed in already."""
        facts = {"locale": "en-GB", "reduced_motion": "reduce"} | self.defaults | options
        context = self.browser.new_context(base_url=self.base, **facts)
        context.set_default_timeout(30_000)
        self.contexts.append(context)
        if user is not None:
            context.add_cookies([self._session_of(user)])
        page = context.new_page()
        self._listen(page)
        return page

    def _session_of(self, user: User) -> dict[str, Any]:
        client = Client()
        client.force_login(user)
        return {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": self.base}

    def _listen(self, page: Page) -> None:
        page.on("pageerror", lambda error: self.complaints.append(f"{page.url}: {error}"))
        page.on(
            "console",
            lambda data: (
                self.complaints.append(f"{page.url}: {data.text}")
                if data.type in ("error", "warning")
                else None
            ),
        )

    def expect_complaint(self, text: str) -> None:
        """Take off the one kind of complaint that a test caused on purpose; it must be there."""
        kept = [line for line in self.complaints if text not in line]
        assert len(kept) < len(self.complaints), f"nothing complained of {text!r}"
        self.complaints[:] = kept

    def close(self) -> None:
        for context in self.contexts:
            context.close()


@pytest.fixture
def open_visitors(browser: Browser, live_server: Any) -> Iterator[Callable[..., Visitors]]:
    """Visitors with default context options; closed, and their complaints read, at the end."""
    made: list[Visitors] = []

    def opened(**defaults: Any) -> Visitors:
        made.append(Visitors(browser, live_server.url, defaults))
        return made[-1]

    yield opened
    for visitors in made:
        visitors.close()
    assert [line for visitors in made for line in visitors.complaints] == []
