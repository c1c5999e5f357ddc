"""Repairability through the API."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from returns.models import RepairScores
from tests.api.callers import Caller, machine
from tests.makers import Shop

pytestmark = pytest.mark.django_db


def done(response: Any) -> Any:
    assert response.status_code == 200, response.content
    return response.json()


@pytest.fixture
def owner(olga: User) -> Caller:
    return machine(olga, "read")


def test_a_model_without_scores_names_what_is_missing(shop: Shop, owner: Caller) -> None:
    (one,) = done(owner.get("repairability/"))["models"]
    assert (one["model"], one["score"]) == ("avocet", None)
    assert one["missing"]


def test_a_scored_model_has_its_profile(shop: Shop, owner: Caller) -> None:
    for kind in ("front", "arm", "screw", "lens"):
        facts = {"steps": 2, "fasteners": 5, "tools": 5, "information": 5}
        RepairScores.objects.create(model=shop.avocet, kind=kind, **facts)
    (one,) = done(owner.get("repairability/"))["models"]
    assert 1 <= float(one["score"]) <= 5
    assert set(one["by_part"]) == {"front", "arm", "screw", "lens"}
    assert one["by_aspect"]["disassembly_depth"] == 5
