"""Requests drawn from the description itself: no answer is a 5xx, and every answer is described.

Bounded and with a fixed seed, so that a failure comes back. The caller is a machine that may do
everything. Codes that the description cannot know are put in place of drawn ones, so that the
requests reach the rules.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import schemathesis
from django.contrib.auth.models import User
from django.core.signals import request_finished, request_started
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from django.utils import timezone
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, given, seed, settings
from schemathesis import checks
from schemathesis.specs.openapi import checks as described

from inventory.material.rules import grinding
from inventory.models import Movement, Place
from inventory.staff.rules import tokens
from returns.filing.rules import intake
from tests import furnished, makers
from tests.makers import CODES, NOON, Shop, key, opening
from tests.returns import customer_makers as customers
from tests.returns.bench_makers import on_shelf

EXAMPLES = 4
NOUNS = {
    "models": "model",
    "batches": "batch",
    "parcels": "parcel",
    "boxes": "box",
    "runs": "run",
    "parts": "part",
    "places": "place",
}
CHECKED = (
    checks.not_a_server_error,
    described.status_code_conformance,
    described.content_type_conformance,
    described.response_schema_conformance,
)


def operations() -> list[Any]:
    raw = SchemaGenerator().get_schema(request=None, public=True)
    api = schemathesis.openapi.from_dict(raw)
    api.app = get_wsgi_application()
    return [result.ok() for result in api.get_all_operations()]


@pytest.fixture
def _connection_stays() -> Iterator[None]:
    """A server closes connections between requests; the test's transaction needs its own."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


@pytest.fixture
def everything(olga: User, shop: Shop) -> dict[str, str]:
    text = makers.token(olga, *tokens.SCOPES, at=timezone.now())
    return {"Authorization": f"Bearer {text}", "Host": "127.0.0.1"}


@pytest.fixture
@furnished.once
def known(shop: Shop, bea: User) -> dict[str, str]:
    """Codes by the name of their parameter or field, of rows that are there to be found."""
    opening(400_000, shop)
    request = customers.sent_back(shop)
    frame = on_shelf(shop, bea, request=request)
    box = Place.objects.get(kind="box")
    run = grinding.propose(key=key(), box=box, at=NOON, by=bea)
    return CODES | {
        "tag": frame.tag,
        "reference": request.reference,
        "request": request.reference,
        "number": str(Movement.objects.order_by("number")[0].number),
        "label": "2026-08",
        "box": box.code,
        "run": run.code,
        "parcel": frame.parcel.code,
        "model": "avocet",
        "place": box.code,
        "notice": "1",
        "email": "wanda@example.org",
        "postal_code": "12345",
        "country": "DE",
        "flake": "400",
        "Story-Secret": intake.link_secret(request),
    }


def reach(case: Any, known: dict[str, str]) -> None:
    """Put known codes where the case has drawn others."""
    noun = NOUNS.get(case.operation.path.partition("/{code}")[0].rpartition("/")[2], "")
    for name in case.path_parameters or {}:
        code = known.get(noun if name == "code" else name)
        if code:
            case.path_parameters[name] = code
    if "Story-Secret" in (case.headers or {}):
        case.headers["Story-Secret"] = known["Story-Secret"]
    if isinstance(case.body, dict):
        _put(case.body, known)


def _put(body: dict[str, Any], known: dict[str, str]) -> None:
    for name, value in body.items():
        if isinstance(value, str) and name in known:
            body[name] = known[name]
        for inner in value if isinstance(value, list) else ():
            if isinstance(inner, dict):
                _put(inner, known)


@pytest.mark.usefixtures("_connection_stays")
@pytest.mark.parametrize("operation", operations(), ids=lambda operation: operation.label)
def test_no_request_of_any_shape_breaks_the_api(
    operation: Any, known: dict[str, str], everything: dict[str, str]
) -> None:
    @seed(20261014)
    @settings(
        max_examples=EXAMPLES,
        database=None,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy())
    def ask(case: Any) -> None:
        reach(case, known)
        response = case.call(headers=everything)
        case.validate_response(response, checks=list(CHECKED))

    ask()
