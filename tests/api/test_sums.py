"""Learning, salvage and blends through the API. Figures are constructed."""

from __future__ import annotations

from typing import Any

import pytest
from django.contrib.auth.models import User

from inventory.material.rules import material
from inventory.material.rules.material import Material, Weighing
from inventory.material.sums import heat
from inventory.models import Lot, Movement
from returns.models import JobStep, PartPromise, Remedy
from tests.api.callers import Caller, machine, pointers, refused
from tests.makers import NOON, Shop, key
from tests.returns.salvage_makers import empty_bin, giving, needing
from tests.returns.workroom_makers import NEW_ARM, graded, opened

pytestmark = pytest.mark.django_db
KG = 1_000_000


@pytest.fixture
def bench(bea: User) -> Caller:
    return machine(bea, "bench", "read")


@pytest.fixture
def pair(shop: Shop, bea: User) -> Any:
    empty_bin(shop.arm)
    return giving(shop, bea), needing(shop, bea)


@pytest.fixture
def lot(shop: Shop, bea: User) -> Lot:
    return material.open_lot(
        key=key(),
        material=Material(
            polymer=shop.pp,
            colour=shop.slate,
            origin="post_consumer_return",
            heat=heat.of_passes(2),
        ),
        weighing=Weighing(scale=shop.box_scale, mass="10 kg"),
        at=NOON,
        by=bea,
    )


def body(pair: Any, **changes: Any) -> dict[str, Any]:
    return {"donor": pair[0].tag, "component": "arm_left", "frame": pair[1].tag} | changes


def recipe(**changes: Any) -> dict[str, Any]:
    return {"polymer": "PP", "mass_mg": 4 * KG, "colours": [{"colour": "slate"}]} | changes


def test_learning_gives_typed_and_learned_figures(shop: Shop, bea: User, olga: User) -> None:
    """Odds (4.8 + 4) / 10 = 0.88; minutes (5 x 8 + 5 x 11) / 10 = 9.5."""
    job = opened(graded(shop, bea, NEW_ARM), bea)
    arm = Remedy.objects.get(key="new-arm")
    for worked in (True, True, True, True, False):
        JobStep.objects.create(
            job=job, remedy=arm, component="arm_left", done_at=NOON, minutes=11, worked=worked
        )
    told = machine(olga, "read").get("learning/").json()
    row = next(one for one in told["remedies"] if one["remedy"] == "new-arm")
    assert (told["weight"], row["typed_odds_ppm"], row["typed_minutes"]) == (5, 960_000, 8)
    assert (row["worked"], row["failed"], row["timed"]) == (4, 1, 5)
    assert (row["odds"]["mean"], row["minutes"]["mean"]) == (0.88, 9.5)
    assert row["odds"]["prior_share"] == 0.5


def test_match_is_listed_approved_once_and_withdrawn(bench: Caller, pair: Any) -> None:
    (match,) = bench.get("salvage/").json()["matches"]
    assert (match["donor"], match["frame"]) == (pair[0].tag, pair[1].tag)
    first = bench.post("salvage/promises/", body(pair), key="same-key-1")
    again = bench.post("salvage/promises/", body(pair), key="same-key-1")
    assert (first.status_code, again.json()) == (201, first.json())
    told = bench.get("salvage/").json()
    assert (told["matches"], len(told["promises"])) == ([], 1)
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


def test_blend_gives_portions_and_the_heat_before_and_after(bench: Caller, lot: Lot) -> None:
    before = Movement.objects.count()
    answer = bench.post("blends/", recipe())
    assert answer.status_code == 200
    mix = answer.json()["blend"]
    (portion,) = mix["portions"]
    assert (portion["lot"], portion["mass_mg"], portion["held_mg"]) == (lot.code, 4 * KG, 10 * KG)
    told = portion["held_known"]
    # Class III, 10 000 steps of 1 g: 3 g over the root of 3, own part 1 g over the root of 12.
    by_hand_ug = 2 * (3e6**2 / 3 + 1e6**2 / 12) ** 0.5
    assert (told["expanded_ug"], told["readings"]) == (pytest.approx(by_hand_ug, abs=1), 1)
    assert mix["heat_as_fed"] == [{"passes": 2, "ppm": 1_000_000}]
    assert mix["heat_moulded"] == [{"passes": 3, "ppm": 1_000_000}]
    assert (mix["regrind_ppm"], mix["melt_flow"]) == (1_000_000, None)
    assert Movement.objects.count() == before


def test_impossible_blend_names_the_limit_and_by_how_much(bench: Caller, lot: Lot) -> None:
    told = bench.post("blends/", recipe(regrind_ppm_max=250_000)).json()
    assert told["blend"] is None
    regrind = next(one for one in told["alone"] if one["limit"] == "regrind_share")
    assert (regrind["bound"], regrind["eased_to"], regrind["by"]) == (250_000, 1_000_000, 750_000)


@pytest.mark.parametrize(
    "wrong",
    [
        {"mass_mg": 0},
        {"polymer": "XX"},
        {"mean_passes_max": "NaN"},
        {"mean_passes_max": 0},
        {"passes_max": 41},
        {"melt_flow_min": 9, "melt_flow_max": 8},
        {"colours": [{"colour": "slate"}, {"colour": "slate"}]},
        {"colours": [{"colour": "slate", "ppm_min": 2, "ppm_max": 1}]},
        {"colour": "slate"},
    ],
)
def test_bad_recipe_is_a_bad_input(bench: Caller, lot: Lot, wrong: Any) -> None:
    refused(bench.post("blends/", recipe(**wrong)), 400, "bad-input")


def test_roles_open_and_close(shop: Shop, acke: User) -> None:
    for path in ("learning/", "salvage/"):
        refused(Caller().get(path), 401, "not-signed-in")
        assert machine(acke, "read").get(path).status_code == 200
    for path in ("blends/", "salvage/promises/", "salvage/withdrawals/"):
        refused(machine(acke, "accounts", "read").post(path), 403, "forbidden")
