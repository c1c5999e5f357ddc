"""Repairability and screw sizes through the API. Thread figures: a metric thread table, read."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from returns.models import RepairScores
from tests.api.callers import Caller, machine, refused
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


def test_sizes_come_with_their_basic_dimensions(shop: Shop, owner: Caller) -> None:
    """Read: M1.4 x 0.3 has 1.2051, 1.0753 and a drill of 1.1 mm; S0.8 has another profile."""
    told = done(owner.get("screw-steps/"))
    sizes = {one["size"]: one for one in told["sizes"]}
    m14 = sizes["M1.4x0.3"]
    assert m14["pitch_diameter_mm"] == pytest.approx(1.2051, abs=1e-4)
    assert m14["nut_minor_mm"] == pytest.approx(1.0753, abs=1e-4)
    assert m14["tap_drill_mm"] == pytest.approx(1.1)
    assert sizes["S0.8x0.2"]["nut_minor_mm"] is None
    assert told["following"] is None
    assert told["refused"] is None


@pytest.mark.parametrize(
    ("wall_um", "following", "refused_for"),
    [(899, None, "wall-too-thin"), (900, "M1.6x0.35", None), (901, "M1.6x0.35", None)],
)
def test_a_worn_hole_takes_the_next_size_while_the_wall_lasts(
    shop: Shop, owner: Caller, wall_um: int, following: str | None, refused_for: str | None
) -> None:
    """By hand: stepping up takes 0.1 mm; half of 1.6 mm must be left, so 0.9 mm is enough."""
    told = done(owner.get(f"screw-steps/?size=M1.4x0.3&wall_um={wall_um}"))
    assert (told["following"], told["refused"]) == (following, refused_for)
    if following:
        assert told["wall_needed_mm"] == pytest.approx(0.8)
        assert told["wall_left_mm"] == pytest.approx((wall_um - 100) / 1000)


def test_the_largest_size_has_none_above_it(shop: Shop, owner: Caller) -> None:
    told = done(owner.get("screw-steps/?size=M2x0.4&wall_um=5000"))
    assert told["refused"] == "no-larger-thread"


def test_unknown_screw_is_refused_in_the_readers_language(shop: Shop, owner: Caller) -> None:
    answer = owner.get("screw-steps/?size=M9", **{"Accept-Language": "de"})
    assert refused(answer, 400, "bad-input")["detail"].startswith("Kein Gewinde heißt M9.")


@pytest.mark.parametrize(
    "asked",
    ["size=M9", "size=M1.4x0.3", "size=M1.4x0.3&wall_um=20001", "size=M1.4x0.3&wall_um=-1"],
)
def test_nonsense_about_a_screw_is_refused(shop: Shop, owner: Caller, asked: str) -> None:
    refused(owner.get(f"screw-steps/?{asked}"), 400, "bad-input")
