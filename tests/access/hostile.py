"""What a person, a scanner or a program may send that nobody meant, and the forms to send it to."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import cycle
from typing import Any, Final
from urllib.parse import parse_qsl, quote, urljoin, urlsplit

from lxml import html

# As they stand in a body: percent escapes, so that half characters and broken UTF-8 get through.
ESCAPED: Final = {
    "forty digits": "9" * 40,
    "below zero": "-1",
    "an endless exponent": "1e999999999",
    "endless": "-Infinity",
    "a superscript digit": quote("²"),
    "NUL": "a%00b",
    "half a character": "%ED%A0%80",
    "a very long text": "x" * 30_000,
    "many digits": "9" * 5_000,
    "a line break and marks": quote("\r\nX: y\u202e<script>' OR 1=1 --"),
}
# As JSON text: Python's reader takes half characters and numbers without an end.
JSON: Final = {
    "forty digits": "9" * 40,
    "an endless number": "1e999",
    "a fraction": "0.5",
    "NUL": '"a\\u0000b"',
    "half a character": '"\\ud800"',
    "a very long text": '"' + "x" * 30_000 + '"',
    "nothing": "null",
    "a list": '["a", 1, null, []]',
    "lists in lists": "[" * 60 + "]" * 60,
    "an object": '{"a": {"b": 1}}',
}
BODIES: Final = {
    "broken UTF-8": b"\xff\xfe\x00{",
    "NaN": b'{"mass": NaN}',
    "a text": b'"x"',
    "too deep": b"[" * 100_000,
    "half a key": b'{"\\ud800": "\\ud800"}',
}
IN_ADDRESSES: Final = (
    "9" * 40,
    "a%00b",
    "%ED%A0%80",
    quote("²"),
    "F-" + "X" * 3_000,
    quote("2026-99٣"),
)
_URLENCODED: Final = "application/x-www-form-urlencoded"
_MARK: Final = "@@spoilt@@"
_FILL: Final = {"mass": "24,820", "text": "told", "number": "1", "date": "2026-10-14"}


@dataclass(frozen=True)
class Form:
    """A form as a page shows it: where it goes, and what it sends untouched."""

    action: str
    method: str
    fields: tuple[tuple[str, str], ...]

    @property
    def names(self) -> tuple[str, ...]:
        return tuple(name for name, _sent in self.fields)

    def bodies(self) -> Iterator[str]:
        """Every field with every value, all fields at once; then each alone in one way."""
        values = list(ESCAPED.values())
        spoilt = [name for name in self.names if name != "key"]
        for turn in range(len(values)):
            turned = cycle([*values[turn:], *values[:turn]])
            yield self.body(**dict(zip(spoilt, turned, strict=False)))
        ways = cycle(values)
        for name, value in zip(self.names, ways, strict=False):
            yield self.body(**{name: value})

    def body(self, **changed: str) -> str:
        """Urlencoded; the changes are escaped already."""
        sent = {name: quote(data) for name, data in self.fields} | changed
        return "&".join(f"{quote(name)}={data}" for name, data in sent.items())


def questions(names: Iterable[str]) -> Iterator[str]:
    """Queries that ask every name, in each of the ways."""
    values = [value[:4_000] for value in ESCAPED.values()]
    for turn in range(len(values)):
        turned = cycle([*values[turn:], *values[:turn]])
        yield "&".join(f"{quote(name)}={data}" for name, data in zip(names, turned, strict=False))


def forms(page: bytes, address: str) -> Iterator[Form]:
    for form in html.fromstring(page).iter("form"):
        fields = {
            name: sent
            for element in form.xpath(".//input|.//select|.//textarea|.//button")
            if (name := element.get("name")) and name != "csrfmiddlewaretoken"
            for sent in _sent(element)
        }
        action = urlsplit(urljoin(address, form.get("action") or "")).path
        method = (form.get("method") or "get").lower()
        yield Form(action, method, tuple(fields.items()))


def asked(page: bytes, address: str) -> Iterator[tuple[str, str]]:
    """Address and name of every question that a link of the page asks."""
    for link in html.fromstring(page).xpath("//a[contains(@href, '?')]/@href"):
        parts = urlsplit(urljoin(address, link))
        for name, _told in parse_qsl(parts.query, keep_blank_values=True):
            yield parts.path, name


def _sent(element: Any) -> list[str]:
    """What a control sends when a hand has filled the form in without a thought."""
    if element.tag == "select":
        options = [option.get("value", "") for option in element.iter("option")]
        return [next((one for one in options if one), "")]
    if element.tag == "textarea":
        return ["told"]
    kind = element.get("type", "text")
    if kind in ("checkbox", "radio"):
        return [element.get("value", "on")]
    if element.get("value"):
        return [element.get("value")]
    if element.get("data-mass") is not None:
        return [_FILL["mass"]]
    return [_FILL.get(kind, "told")]


def other_bodies(form: Form) -> Iterator[tuple[str, bytes]]:
    """A form's fields in ways that no page sends: kind and body."""
    edge = "multipart/form-data; boundary=edge"
    parts = [
        f'--edge\r\nContent-Disposition: form-data; name="{name}"; filename="a\x00b.txt"\r\n'
        f"Content-Type: text/plain\r\n\r\ntold\r\n"
        for name in form.names
    ]
    yield edge, "".join([*parts, "--edge--\r\n"]).encode()
    yield edge, b"--edge\r\nContent-Dis"
    yield "multipart/form-data", b"x"
    yield "application/json", b'{"key": [1]}'
    yield _URLENCODED, "&".join(f"{name}=1&{name}=2" for name in form.names).encode()
    yield _URLENCODED, b"&".join(b"a%d=1" % number for number in range(1_100))
    yield _URLENCODED, b""


def described(raw: dict[str, Any], known: dict[str, str]) -> dict[str, Any]:
    """By path, a body as the description has it, with known codes where it can have none."""
    found = {}
    for path, methods in raw["paths"].items():
        content = methods.get("post", {}).get("requestBody", {}).get("content", {})
        if "application/json" in content:
            found[path] = _example(raw, content["application/json"]["schema"], known, "")
    return found


def _example(raw: dict[str, Any], schema: dict[str, Any], known: dict[str, str], name: str) -> Any:
    if "$ref" in schema:
        schema = raw["components"]["schemas"][schema["$ref"].rpartition("/")[2]]
    for inner in (*schema.get("allOf", []), *schema.get("oneOf", [])):
        return _example(raw, inner, known, name)
    kind = schema.get("type")
    if kind == "object":
        properties = schema.get("properties", {})
        return {one: _example(raw, inner, known, one) for one, inner in properties.items()}
    if kind == "array":
        return [_example(raw, schema["items"], known, name.removesuffix("s"))]
    if kind in ("integer", "number"):
        return schema.get("minimum", 1)
    if kind == "boolean":
        return True
    return known.get(name) or (schema.get("enum") or ["told"])[0]


def spoilt(body: Any) -> Iterator[bytes]:
    """A body with everything in it spoilt in each way, then one thing at a time."""
    if not isinstance(body, dict):
        return
    raw = list(JSON.values())
    for turn in range(len(raw)):
        data = zip(body, cycle([*raw[turn:], *raw[:turn]]), strict=False)
        yield (
            "{" + ", ".join(f"{json.dumps(name)}: {value}" for name, value in data) + "}"
        ).encode()
    values = cycle(raw)
    for marked in _marked(body):
        text = json.dumps(marked)
        yield text.replace(f'"{_MARK}"', next(values)).encode()


def _marked(body: Any) -> Iterator[Any]:
    """Copies of a body, each with another thing in it replaced by the mark."""
    if isinstance(body, dict):
        for name, inner in body.items():
            yield from ({**body, name: one} for one in _marked(inner))
    elif isinstance(body, list):
        for index, inner in enumerate(body):
            yield from ([*body[:index], one, *body[index + 1 :]] for one in _marked(inner))
    yield _MARK
