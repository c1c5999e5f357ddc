"""Callers of the API: a signed-in person, a machine with a token, or nobody."""

from __future__ import annotations

import json
import uuid
from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User
from django.test import Client
from django.utils import timezone

from tests.makers import token

PROBLEM = "application/problem+json"


class Caller:
    """Calls the API as JSON, with a fresh Idempotency-Key unless the test names one."""

    def __init__(self, bearer: str = "", user: User | None = None) -> None:
        self.client = Client(raise_request_exception=False)
        if user is not None:
            self.client.force_login(user)
        self.headers = {"Authorization": f"Bearer {bearer}"} if bearer else {}

    def get(self, path: str, **headers: str) -> Any:
        return self.client.get(f"/api/{path}", headers=self.headers | headers)

    def post(
        self, path: str, body: Any = None, *, key: str = "", raw: bytes = b"", **headers: str
    ) -> Any:
        content = raw or json.dumps({} if body is None else body).encode()
        sent = self.headers | {"Idempotency-Key": key or str(uuid.uuid4())} | headers
        return self.client.post(
            f"/api/{path}", content, content_type="application/json", headers=sent
        )


def machine(user: User, *scopes: str, days: int = 30) -> Caller:
    """A machine whose token narrows the roles of a person."""
    return Caller(token(user, *scopes, days=days, at=timezone.now()))


def expired(user: User, *scopes: str) -> Caller:
    long_ago = timezone.now() - timedelta(days=31)
    return Caller(token(user, *scopes, at=long_ago))


def refused(response: Any, status: int, code: str) -> dict[str, Any]:
    """Assert that an answer is this problem, in the shape of RFC 9457. Returns its body."""
    assert response.status_code == status, response.content
    assert response.headers["Content-Type"] == PROBLEM
    body: dict[str, Any] = response.json()
    assert body["type"].endswith(f"/api/problems/#{code}")
    assert body["status"] == status
    assert body["title"]
    return body


def pointers(body: dict[str, Any]) -> set[str]:
    return {error["pointer"] for error in body["errors"]}
