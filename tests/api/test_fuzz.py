"""Requests drawn from the description itself: no answer is a 5xx, and every answer is described.

Bounded and with a fixed seed, so that a failure comes back. The caller is a machine that may do
everything; rows to find lie under the codes that the description cannot know.
"""

from __future__ import annotations

from typing import Any

import pytest
import schemathesis
from django.contrib.auth.models import User
from django.core.wsgi import get_wsgi_application
from drf_spectacular.generators import SchemaGenerator
from hypothesis import HealthCheck, Phase, settings
from hypothesis import seed as seeded
from schemathesis import checks
from schemathesis.specs.openapi import checks as described

from inventory.api import tokens
from tests.makers import Shop

EXAMPLES = 4
CHECKED = (
    checks.not_a_server_error,
    described.status_code_conformance,
    described.content_type_conformance,
    described.response_schema_conformance,
)


@pytest.fixture(scope="module")
def api() -> Any:
    raw = SchemaGenerator().get_schema(request=None, public=True)
    found = schemathesis.openapi.from_dict(raw)
    found.app = get_wsgi_application()
    return found


@pytest.fixture
def everything(olga: User, shop: Shop) -> dict[str, str]:
    from django.utils import timezone

    _row, text = tokens.issue(
        name="fuzz", user=olga, scopes=list(tokens.SCOPES), days=1, at=timezone.now()
    )
    return {"Authorization": f"Bearer {text}", "Host": "127.0.0.1"}


described_api = schemathesis.pytest.from_fixture("api")


@described_api.parametrize()
@seeded(20261014)
@settings(
    max_examples=EXAMPLES,
    deadline=None,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_no_request_of_any_shape_breaks_the_api(case: Any, everything: dict[str, str]) -> None:
    response = case.call(headers=everything)
    case.validate_response(response, checks=list(CHECKED))
