"""Sends further requests wherever a story calls the API, as a plugin of pytest.

    .venv/bin/python -m pytest -n0 -p tests.api.fuzzed tests/api ...

A drawn request seldom gets past a rule: the frame it names must be in the right state. The stories
that the tests tell are there already, so each call of theirs is a seed: it is sent once more as it
is, and then with some of its fields drawn from the description. All of that is taken back, and the
story goes on as if nothing had been. No answer may be a 5xx, and each must be described: its
status, its type, its shape. At the end most operations must have answered 2xx for some caller.

`HINGEBACK_TEST_FUZZ=20` draws twenty times as much.
"""

from __future__ import annotations

import copy
import os
import random
import re
from collections import Counter
from typing import Any

import pytest
import schemathesis
from django.core.cache import cache
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections, connection, transaction
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import checks
from schemathesis.specs.openapi import checks as described

TIMES = int(os.environ.get("HINGEBACK_TEST_FUZZ", "1"))
DRAWN = 3 * TIMES
"""Drawn requests to an operation, for each of its first two seeds."""
SEEDS = 2
REACHED_MIN = 0.75
# What limits on tries have counted, in the cache of one process.
_LIMITS = ("_cache", "_expire_info")
CHECKED = [
    checks.not_a_server_error,
    described.status_code_conformance,
    described.content_type_conformance,
    described.response_schema_conformance,
]


class Fuzz:
    """What is known of the operations: how to find them, and how they have answered."""

    def __init__(self) -> None:
        # A plugin is read before the settings are.
        from drf_spectacular.generators import SchemaGenerator

        api = schemathesis.openapi.from_dict(
            SchemaGenerator().get_schema(request=None, public=True)
        )
        api.app = get_wsgi_application()
        self.operations = [result.ok() for result in api.get_all_operations()]
        self.shapes = [
            (
                one.method.upper(),
                re.compile(re.sub(r"{(\w+)}", r"(?P<\1>[^/]+)", one.path) + "$"),
                one,
            )
            for one in self.operations
        ]
        self.reached: set[str] = set()
        self.seeded: Counter[str] = Counter()
        self.answers: Counter[int] = Counter()
        self.is_busy = False

    def found(self, method: str, path: str) -> tuple[Any, dict[str, str]] | None:
        # A fixed name before a drawn one: /api/a/b/ is no /api/a/{code}/.
        fits = [
            (operation, match.groupdict())
            for verb, shape, operation in self.shapes
            if verb == method and (match := shape.match(path))
        ]
        return min(fits, key=lambda one: len(one[1])) if fits else None

    def seed(self, method: str, path: str, body: Any, headers: dict[str, str]) -> None:
        """Send what a story is about to send, and variants of it, and take all of it back."""
        found = None if self.is_busy else self.found(method, f"/api/{path.partition('?')[0]}")
        if found is None:
            return
        operation, parameters = found
        label = operation.label
        is_new = label not in self.reached
        if not is_new and self.seeded[label] >= SEEDS:
            return
        self.is_busy = True
        try:
            status = self._send(operation.Case(**_same(parameters, body, headers)), headers)
            if 200 <= status < 300:
                self.reached.add(label)
                if self.seeded[label] < SEEDS:
                    self.seeded[label] += 1
                    self._vary(operation, parameters, body, headers)
        finally:
            self.is_busy = False

    def _vary(
        self, operation: Any, parameters: dict[str, str], body: Any, headers: dict[str, str]
    ) -> None:
        chance = random.Random(f"{operation.label} {self.seeded[operation.label]}")  # noqa: S311

        @seed(20261014 + self.seeded[operation.label])
        @settings(
            max_examples=DRAWN,
            database=None,
            phases=[Phase.generate],
            deadline=None,
            suppress_health_check=list(HealthCheck),
        )
        @given(case=operation.as_strategy())
        def ask(case: Any) -> None:
            # The thing itself mostly stays, or every answer would be a 404.
            for name, value in parameters.items():
                if chance.random() < 0.9:
                    case.path_parameters[name] = value
            if isinstance(case.body, dict) and isinstance(body, dict):
                _mix(case.body, body, chance)
            self._send(case, headers)

        ask()

    def _send(self, case: Any, headers: dict[str, str]) -> int:
        kept = [copy.copy(getattr(cache, name)) for name in _LIMITS if hasattr(cache, name)]
        # A server closes connections between requests; the test's transaction needs its own. The
        # framework's client turns this on again after each request of its own.
        for signal in (request_started, request_finished):
            signal.disconnect(close_old_connections)
        with transaction.atomic():
            answer = case.call(headers={"Host": "127.0.0.1", **headers})
            transaction.set_rollback(True)
        for name, before in zip(_LIMITS, kept, strict=False):
            getattr(cache, name).clear()
            getattr(cache, name).update(before)
        self.answers[answer.status_code] += 1
        case.validate_response(answer, checks=CHECKED)
        return int(answer.status_code)


def _same(parameters: dict[str, str], body: Any, headers: dict[str, str]) -> dict[str, Any]:
    facts: dict[str, Any] = {"path_parameters": dict(parameters), "headers": dict(headers)}
    if body is not None:
        facts |= {"body": body, "media_type": "application/json"}
    return facts


def _mix(drawn: dict[str, Any], known: dict[str, Any], chance: random.Random) -> None:
    """Put each known value back, or leave what was drawn: about one field in four stays drawn."""
    for name, value in known.items():
        if chance.random() < 0.75:
            drawn[name] = value
    for name in [name for name in drawn if name not in known]:
        if chance.random() < 0.75:
            del drawn[name]


_fuzz: Fuzz | None = None


@pytest.fixture(autouse=True)
def _every_call_is_a_seed(monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.api.callers import Caller

    global _fuzz  # noqa: PLW0603
    _fuzz = _fuzz or Fuzz()
    fuzz, post, get = _fuzz, Caller.post, Caller.get

    def seeded_post(self: Any, path: str, body: Any = None, **rest: Any) -> Any:
        extra = {name: value for name, value in rest.items() if name not in ("key", "raw")}
        if not rest.get("raw") and connection.in_atomic_block and not self.client.cookies:
            headers = {**self.headers, **extra, "Idempotency-Key": "a-key-of-the-fuzz"}
            fuzz.seed("POST", path, {} if body is None else body, headers)
        return post(self, path, body, **rest)

    def seeded_get(self: Any, path: str, **headers: str) -> Any:
        if connection.in_atomic_block and not self.client.cookies:
            fuzz.seed("GET", path, None, {**self.headers, **headers})
        return get(self, path, **headers)

    monkeypatch.setattr(Caller, "post", seeded_post)
    monkeypatch.setattr(Caller, "get", seeded_get)


def pytest_terminal_summary(terminalreporter: Any) -> None:
    if _fuzz is None:
        return
    count, of = len(_fuzz.reached), len(_fuzz.operations)
    terminalreporter.write_line(
        f"fuzz: {count} of {of} operations answered 2xx; {sum(_fuzz.answers.values())} requests: "
        + ", ".join(f"{number} x {status}" for status, number in sorted(_fuzz.answers.items()))
    )
    for one in _fuzz.operations:
        if one.label not in _fuzz.reached:
            terminalreporter.write_line(f"  never 2xx: {one.label}")


def pytest_sessionfinish(session: pytest.Session) -> None:
    if _fuzz is None or session.exitstatus:
        return
    if len(_fuzz.reached) < REACHED_MIN * len(_fuzz.operations):
        session.exitstatus = pytest.ExitCode.TESTS_FAILED
