"""Every refusal of the API is a problem document, whatever was sent."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.contrib.auth.models import User
from django.db import OperationalError
from django.test import Client

from inventory import errors
from inventory.furniture.api import parsing, problem_types
from inventory.furniture.api.problems import handler
from tests.api.callers import Caller, machine, pointers, refused
from tests.makers import Shop


def every_error(kind: type[errors.HingebackError] = errors.HingebackError) -> list[Any]:
    return [kind, *(found for below in kind.__subclasses__() for found in every_error(below))]


def test_every_error_of_the_rooms_is_a_listed_problem_type() -> None:
    assert {kind.code for kind in every_error()} <= set(problem_types.TYPES)


def test_an_error_answers_with_the_status_that_its_type_is_listed_under() -> None:
    for kind in every_error():
        assert problem_types.TYPES[kind.code].status == kind.status, kind


@pytest.mark.django_db
def test_the_page_of_problems_has_an_anchor_for_every_type() -> None:
    page = Client().get("/api/problems/").content.decode()
    for code in problem_types.TYPES:
        assert f'id="{code}"' in page


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["", "nothing/", "frames/x/y/", "models", "%00", "a" * 500])
def test_an_unknown_address_is_a_problem_for_every_method(path: str) -> None:
    refused(Caller().get(path), 404, "not-found")
    refused(Caller().post(path), 404, "not-found")


def test_a_method_that_is_not_taken_is_405_and_names_those_that_are(bea: User) -> None:
    response = Caller(user=bea).client.put("/api/frames/")
    refused(response, 405, "method-not-allowed")
    assert "GET" in response.headers["Allow"]
    for page in ("docs", "schema", "problems"):
        refused(Client().post(f"/api/{page}/"), 405, "method-not-allowed")


def test_another_media_type_is_415(bea: User) -> None:
    response = Caller(user=bea).client.post(
        "/api/parcels/", "<a/>", content_type="text/xml", headers={"Idempotency-Key": "12345678"}
    )
    refused(response, 415, "unsupported-media-type")


def test_nothing_that_the_caller_accepts_is_406(bea: User) -> None:
    refused(Caller(user=bea).get("frames/", Accept="image/png"), 406, "not-acceptable")


@pytest.mark.parametrize(
    "raw",
    [
        b"{",
        b'{"request": NaN}',
        b'{"request": Infinity}',
        b"[" * 100_000,
        b'{"a":' * 50_000,
        b"\xff\xfe",
        b"1" * 5_000,
        b"[]",
        b"null",
        b'"text"',
        b"17",
        b'{"request": {"a": 1}}',
        b'{"request": ["Q"]}',
        b'{"request": "\\u0000"}',
        b'{"request": "\\ud800"}',
        b'{"\\ud800": 1}',
        b'{"request": true}',
        b'{"request": 1e999}',
        b'{"unheard": 1}',
    ],
)
def test_a_body_that_cannot_be_is_bad_input(bea: User, shop: Shop, raw: bytes) -> None:
    refused(Caller(user=bea).post("parcels/", raw=raw), 400, "bad-input")


def test_a_body_is_taken_up_to_its_limit_and_refused_above(
    bea: User, monkeypatch: pytest.MonkeyPatch
) -> None:
    body = json.dumps({"request": None}).encode()
    monkeypatch.setattr(parsing, "BODY_BYTES_MAX", len(body))
    assert Caller(user=bea).post("parcels/", raw=body).status_code == 201
    refused(Caller(user=bea).post("parcels/", raw=body + b" "), 413, "too-large")


@pytest.mark.parametrize("pieces", [0, -1, 1_000_001, 10**30, 1.5, "x", None, [], {}, True])
def test_a_number_outside_its_range_or_of_another_type_names_its_field(
    bea: User, shop: Shop, pieces: Any
) -> None:
    body = refused(
        Caller(user=bea).post("parts/screw-m14/receipts/", {"pieces": pieces}), 400, "bad-input"
    )
    assert pointers(body) == {"#/pieces"}


@pytest.mark.parametrize("pieces", [1, 2, 100_000])
def test_a_number_at_its_limits_is_taken(bea: User, shop: Shop, pieces: int) -> None:
    response = Caller(user=bea).post("parts/screw-m14/receipts/", {"pieces": pieces})
    assert response.status_code == 201


@pytest.mark.parametrize(
    "path",
    [
        "frames/F-2222-2222/",
        "frames/%00/",
        "frames/" + "F" * 300 + "/",
        "lots/L'/",
        "movements/9223372036854775808/",
        "movements/" + "9" * 400 + "/",
        "months/2026-13/",
        "months/1969-12/report/",
        "months/1970-01/report/",
        "months/%F0%9F%A6%89/",
        "models/%00/",
        "parts/%ED%A0%80/",
        "frames/?cursor=cD1hYmM%3D",
        "frames/?cursor=cD05OTk5OTk5OTk5OTk5OTk5OTk5OQ%3D%3D",
        "circularity/models/none/",
    ],
)
def test_what_no_code_can_be_is_not_found(olga: User, path: str) -> None:
    refused(Caller(user=olga).get(path), 404, "not-found")


@pytest.mark.parametrize(
    "path",
    [
        "frames/?state=none",
        "frames/?batch=%00",
        "frames/?model=" + "x" * 31,
        "frames/?promised_to=0001-01-01",
        "frames/?promised_to=9999-12-31",
        "frames/?weighed_from=yesterday",
        "movements/?month=2026",
        "movements/?subject=%00",
        "boxes/?polymer=none",
        "circularity/?from=2026-10&to=2026-09",
        "circularity/?from=10000000000",
        "circularity/?from=%00",
        "circularity/?from=1000-01&to=2999-12",
    ],
)
def test_a_filter_that_cannot_be_is_bad_input(olga: User, path: str) -> None:
    refused(Caller(user=olga).get(path), 400, "bad-input")


def test_a_busy_database_is_503_and_says_how_long_to_wait() -> None:
    response = handler(OperationalError("database is locked"), {})
    assert response.status_code == 503
    assert int(response["Retry-After"]) > 0


def test_an_unforeseen_error_is_a_problem_that_tells_nothing_and_logs_no_text(
    bea: User, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(**_facts: object) -> None:
        raise RuntimeError("Wanda Reed, 7 Towpath")

    monkeypatch.setattr("returns.arriving.rules.book", fails)
    response = Caller(user=bea).post("parcels/", {})
    refused(response, 500, "internal")
    assert b"Towpath" not in response.content
    assert "RuntimeError" in caplog.text
    assert "Towpath" not in caplog.text


def test_reasons_and_pointers_of_a_rule_reach_the_caller(acke: User, shop: Shop) -> None:
    body = refused(
        machine(acke, "accounts").post("months/2026-09/closings/"), 409, "month-not-ready"
    )
    assert body["reasons"]
