"""Salvage through the API: matches, and promises made and withdrawn."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from returns.models import PartPromise
from tests.api.callers import Caller, machine, pointers, refused
from tests.makers import Shop
from tests.returns.salvage_makers import empty_bin, giving, needing

pytestmark = pytest.mark.django_db


@pytest.fixture
def bench(bea: User) -> Caller:
    return machine(bea, "bench", "read")


@pytest.fixture
def pair(shop: Shop, bea: User) -> Any:
    empty_bin(shop.arm)
    return giving(shop, bea), needing(shop, bea)


def body(pair: Any, **changes: Any) -> dict[str, Any]:
    return {"donor": pair[0].tag, "component": "arm_left", "frame": pair[1].tag} | changes


def test_match_is_listed_approved_once_and_withdrawn(bench: Caller, pair: Any) -> None:
    (match,) = bench.get("salvage/").json()["matches"]
    assert (match["donor"], match["frame"]) == (pair[0].tag, pair[1].tag)
    first = bench.post("salvage/promises/", body(pair), key="same-key-1")
    again = bench.post("salvage/promises/", body(pair), key="same-key-1")
    assert (first.status_code, again.json()) == (201, first.json())
    data = bench.get("salvage/").json()
    assert (data["matches"], len(data["promises"])) == ([], 1)
    gone = bench.post("salvage/withdrawals/", {"donor": pair[0].tag, "component": "arm_left"})
    assert (gone.status_code, gone.json()["state"]) == (200, "withdrawn")
    assert PartPromise.objects.count() == 1


def test_promising_twice_is_a_conflict(bench: Caller, pair: Any) -> None:
    bench.post("salvage/promises/", body(pair))
    refused(bench.post("salvage/promises/", body(pair)), 409, "conflict")


def test_unknown_codes_and_wrong_parts_are_pointed_at(bench: Caller, pair: Any) -> None:
    answer = bench.post("salvage/promises/", body(pair, donor="F-0000-0000", component="wing"))
    assert pointers(refused(answer, 400, "bad-input")) == {"#/donor", "#/component"}
    answer = bench.post("salvage/promises/", body(pair, component="arm_right"))
    refused(answer, 400, "bad-input")


def test_roles_open_and_close(shop: Shop, acke: User) -> None:
    refused(Caller().get("salvage/"), 401, "not-signed-in")
    assert machine(acke, "read").get("salvage/").status_code == 200
    for path in ("salvage/promises/", "salvage/withdrawals/"):
        refused(machine(acke, "accounts", "read").post(path), 403, "forbidden")
