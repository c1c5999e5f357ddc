"""The description of the API: valid, complete, pinned, browsable under the pages' policy."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.test import Client
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.validation import validate_schema

from inventory.furniture.api.problem_types import TYPES
from returns.urls import api as urls

GOLDEN = Path(__file__).resolve().parents[2] / "fixtures" / "golden" / "openapi.yaml"

# Operations seen in the browser, of which there are more.
ENOUGH = 50


@pytest.fixture(scope="module")
def description() -> dict[str, Any]:
    schema: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return schema


def test_the_description_is_valid_openapi(description: dict[str, Any]) -> None:
    validate_schema(description)
    assert description["openapi"].startswith("3.")


@pytest.mark.django_db
def test_the_description_is_the_reviewed_one() -> None:
    """Regenerate after a wanted change: python manage.py spectacular --file
    fixtures/golden/openapi.yaml"""
    served = Client().get("/api/schema/")
    assert yaml.safe_load(served.content) == yaml.safe_load(GOLDEN.read_text(encoding="utf-8"))


def test_every_address_is_described(description: dict[str, Any]) -> None:
    unsaid = {"api-schema", "api-docs", "api-problems", "api-unknown"}
    patterns = {str(one.pattern) for one in urls.urlpatterns if one.name not in unsaid}
    assert len(description["paths"]) == len(patterns)


def test_every_post_wants_a_key_and_every_operation_says_its_scope(
    description: dict[str, Any],
) -> None:
    for operations in description["paths"].values():
        for method, operation in operations.items():
            named = {one["name"] for one in operation.get("parameters", [])}
            assert ("Idempotency-Key" in named) == (method == "post")
            assert "scope" in operation["description"] or "Open to all" in operation["description"]


def test_every_operation_says_what_it_does_and_every_post_which_errors_it_answers(
    description: dict[str, Any],
) -> None:
    for address, operations in description["paths"].items():
        for method, operation in operations.items():
            data = operation["description"].partition("\n")[0]
            assert len(data.split()) >= 3, address
            named = {code for code in TYPES if f"`{code}`" in operation["description"]}
            assert named or method == "get", address


def test_no_operation_takes_or_shows_a_database_id(description: dict[str, Any]) -> None:
    for shape in description["components"]["schemas"].values():
        assert not {"id", "pk"} & set(shape.get("properties", {}))


def test_masses_say_their_unit_and_money_its_currency(description: dict[str, Any]) -> None:
    for name, shape in description["components"]["schemas"].items():
        fields = set(shape.get("properties", {}))
        money = {field for field in fields if "cost" in field or "price" in field}
        assert all(field.endswith("_minor") for field in money), name
        if name.endswith("Answer") and money:
            assert "currency" in fields, name
        for field in fields & {"mass", "flake", "plastic"}:
            assert shape["properties"][field]["type"] == "string", name


@pytest.mark.django_db
def test_the_browsable_page_holds_no_inline_script_or_style() -> None:
    answer = Client().get("/api/docs/")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "<style" not in page
    assert " style=" not in page
    assert all("src=" in part for part in page.split("<script")[1:])
    assert "unsafe-inline" not in answer.headers["Content-Security-Policy"]


@pytest.mark.browser
@pytest.mark.enable_socket
def test_the_browsable_page_renders_in_a_browser_without_a_policy_violation(
    live_server: Any,
) -> None:
    from playwright.sync_api import sync_playwright

    data: list[str] = []
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    try:
        with sync_playwright() as player:
            browser = player.chromium.launch(
                executable_path=os.environ.get("HINGEBACK_TEST_CHROMIUM") or "/usr/bin/chromium",
                args=["--no-sandbox"],
            )
            page = browser.new_page()
            page.on("console", lambda line: data.append(f"{line.type}: {line.text}"))
            page.on("pageerror", lambda error: data.append(f"error: {error}"))
            page.goto(f"{live_server.url}/api/docs/")
            page.wait_for_selector(".opblock", timeout=20_000)
            page.locator(".opblock-summary-control").first.click()
            page.wait_for_selector(".opblock-body", timeout=20_000)
            # Of a long description only what is in sight is drawn.
            shown = set[str]()
            for _turn in range(60):
                ids = "found => found.map(one => one.id)"
                shown |= set(page.locator(".opblock").evaluate_all(ids))
                if len(shown) > ENOUGH:
                    break
                page.mouse.wheel(0, 600)
                page.wait_for_timeout(100)
            if folder := os.environ.get("HINGEBACK_TEST_PICTURES"):
                page.screenshot(path=f"{folder}/api-docs.png")
            browser.close()
    finally:
        del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]
    assert len(shown) > ENOUGH
    assert [line for line in data if "Security Policy" in line or line.startswith("error")] == []
