"""A small patient visitor: opens pages, reads their forms, fills them in and sends them.

Knows nothing of the service but its pages: cookies, hidden fields and CSRF come from the HTML.
"""

from __future__ import annotations

import json
import urllib.error
import urllib.parse
import urllib.request
from dataclasses import dataclass, field
from html.parser import HTMLParser
from http.cookiejar import CookieJar
from typing import Any

TIMEOUT_S = 60


class Stumble(Exception):
    """The first thing that did not hold; the message says where and what was seen."""


@dataclass
class Form:
    """One form of a page: where it goes, and its fields as they stand. Names may repeat."""

    action: str
    method: str
    fields: list[tuple[str, str]] = field(default_factory=list)
    choices: dict[str, list[tuple[str, str]]] = field(default_factory=dict)

    def value(self, name: str) -> str:
        """Return the present value of a field, "" when it has none."""
        return next((value for key, value in self.fields if key == name), "")

    def names(self) -> set[str]:
        return {name for name, _value in self.fields} | set(self.choices)


@dataclass
class Page:
    """What came back: address after redirects, text and forms."""

    url: str
    status: int
    body: bytes
    forms: list[Form]
    text: str
    links: list[str]

    def form_with(self, *names: str) -> Form:
        """Return the first form that has all of these fields. Stumbles when none has."""
        for form in self.forms:
            if set(names) <= form.names():
                return form
        have = [sorted(form.names()) for form in self.forms]
        raise Stumble(f"{self.url}: no form with {', '.join(names)}; forms have {have}")

    def form_to(self, part: str) -> Form:
        """Return the first form whose action holds this text. Stumbles when none does."""
        for form in self.forms:
            if part in form.action:
                return form
        raise Stumble(
            f"{self.url}: no form that goes to {part}; they go to {[f.action for f in self.forms]}"
        )


class _Reader(HTMLParser):
    """Collects forms, links and visible text."""

    def __init__(self, url: str) -> None:
        super().__init__()
        self.url = url
        self.forms: list[Form] = []
        self.links: list[str] = []
        self.words: list[str] = []
        self._form: Form | None = None
        self._select = ""
        self._in_option = False
        self._area = ""
        self._skip = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        facts = {name: value or "" for name, value in attrs}
        if tag in {"script", "style"}:
            self._skip += 1
        elif tag == "a" and facts.get("href"):
            self.links.append(urllib.parse.urljoin(self.url, facts["href"]))
        elif tag == "form":
            # A form without an action goes to its own page.
            action = urllib.parse.urljoin(self.url, facts.get("action") or self.url)
            self._form = Form(action, facts.get("method", "get").lower())
            self.forms.append(self._form)
        elif self._form is not None:
            self._field(tag, facts, {name for name, _value in attrs})

    def _field(self, tag: str, facts: dict[str, str], present: set[str]) -> None:
        form, name = self._form, facts.get("name", "")
        if form is None or "disabled" in present:
            return
        if tag == "select":
            self._select = name
            form.choices.setdefault(name, [])
        elif tag == "option" and self._select:
            form.choices[self._select].append((facts.get("value", ""), ""))
            self._in_option = True
            if "selected" in present:
                form.fields.append((self._select, facts.get("value", "")))
        elif tag == "textarea" and name:
            self._area = name
            form.fields.append((name, ""))
        elif tag in {"input", "button"} and name:
            self._input(form, tag, name, facts, present)

    def _input(
        self, form: Form, tag: str, name: str, facts: dict[str, str], present: set[str]
    ) -> None:
        kind = facts.get("type", "submit" if tag == "button" else "text")
        if kind in {"radio", "checkbox"}:
            form.choices.setdefault(name, []).append((facts.get("value", "on"), ""))
            if "checked" in present:
                form.fields.append((name, facts.get("value", "on")))
        elif kind == "submit":
            form.choices.setdefault(name, []).append((facts.get("value", ""), ""))
        elif kind != "file":
            form.fields.append((name, facts.get("value", "")))

    def handle_endtag(self, tag: str) -> None:
        if tag in {"script", "style"}:
            self._skip -= 1
        elif tag == "form":
            self._form = None
        elif tag == "option":
            self._in_option = False
        elif tag == "select":
            self._close_select()
        elif tag == "textarea":
            self._area = ""

    def _close_select(self) -> None:
        form, name = self._form, self._select
        self._select = ""
        if form is None or not name:
            return
        # As a browser does: a list in which nothing is selected sends its first choice.
        if not any(key == name for key, _value in form.fields) and form.choices[name]:
            form.fields.append((name, form.choices[name][0][0]))

    def handle_data(self, data: str) -> None:
        if self._area and self._form is not None:
            name = self._area
            # The parser may hand over a text in several pieces.
            old = self._form.value(name)
            kept = [pair for pair in self._form.fields if pair[0] != name]
            self._form.fields = [*kept, (name, old + data)]
        if self._in_option and self._form is not None:
            value, words = self._form.choices[self._select][-1]
            self._form.choices[self._select][-1] = (value, words + data.strip())
        if not self._skip and data.strip():
            self.words.append(" ".join(data.split()))


class Visitor:
    """One person with their own cookies."""

    def __init__(self, name: str, base_url: str) -> None:
        self.name = name
        self.base_url = base_url.rstrip("/")
        jar = urllib.request.HTTPCookieProcessor(CookieJar())
        self._opener = urllib.request.build_opener(jar)

    def open(self, path: str, *, expect: int = 200) -> Page:
        """GET a page. Stumbles when the status is another."""
        return self._send(urllib.request.Request(self._absolute(path)), expect)  # noqa: S310

    def send(self, form: Form, **changes: str) -> Page:
        """Submit a form with some fields changed. Stumbles unless the answer is a page."""
        return self.try_to_send(form, 200, **changes)

    def try_to_send(self, form: Form, status: int, /, **changes: str) -> Page:
        """Submit a form and expect this status."""
        kept = [pair for pair in form.fields if pair[0] not in changes]
        kept += list(changes.items())
        data = urllib.parse.urlencode(kept).encode()
        if form.method == "get":
            address = form.action.split("?")[0] + "?" + data.decode()
            return self._send(urllib.request.Request(address), status)  # noqa: S310
        request = urllib.request.Request(form.action, data=data)  # noqa: S310
        # Over HTTPS the protection against forged requests asks where a form came from.
        request.add_header("Referer", form.action)
        return self._send(request, status)

    def json(self, path: str) -> Any:
        """GET an API document."""
        request = urllib.request.Request(self._absolute(path))  # noqa: S310
        request.add_header("Accept", "application/json")
        return json.loads(self._send(request, 200).body)

    def _absolute(self, path: str) -> str:
        return urllib.parse.urljoin(self.base_url + "/", path)

    def _send(self, request: urllib.request.Request, expect: int) -> Page:
        request.add_header("Accept-Language", "en")
        try:
            with self._opener.open(request, timeout=TIMEOUT_S) as reply:
                page = _page(reply.geturl(), reply.status, reply.read(), reply.headers)
        # A refusal is a page too, and often the one that is expected.
        except urllib.error.HTTPError as error:
            page = _page(
                error.geturl() or request.full_url, error.code, error.read(), error.headers
            )
        except OSError as error:
            raise Stumble(f"{request.full_url} does not answer: {error}") from error
        if page.status != expect:
            raise Stumble(
                f"{self.name}: {request.get_method()} {request.full_url} gave {page.status}, "
                f"not {expect}: {page.text[:600]}"
            )
        return page


def _page(url: str, status: int, body: bytes, headers: Any) -> Page:
    reader = _Reader(url)
    if "html" in headers.get("Content-Type", ""):
        reader.feed(body.decode("utf-8", "replace"))
    return Page(url, status, body, reader.forms, " ".join(reader.words), reader.links)
