"""Masses of frames, runs and batches stand with how well they are known."""

from __future__ import annotations

import re
from typing import Any

import pytest
import yaml
from django.contrib.auth.models import User

from inventory.models import GrindRun
from inventory.weighing.queries import traced
from returns.bench.queries import frames
from returns.models import ProductionBatch
from returns.moulding import queries as batch_heat
from tests.api.callers import machine
from tests.api.test_describing import GOLDEN
from tests.makers import Shop
from tests.returns import owner_makers as made

pytestmark = pytest.mark.django_db

# A reading up to 50 g on the fine scale: 0.408 mg of its own, 5.774 mg that all its readings share.
ONE_UG = pytest.approx(2 * (408**2 + 5774**2) ** 0.5, abs=1)
TWO_UG = pytest.approx(2 * (2 * 408**2 + (2 * 5774) ** 2) ** 0.5, abs=1)


def test_a_frame_tells_of_its_weigh_in_and_of_what_went_into_the_box(
    shop: Shop, olga: User
) -> None:
    made.boxed(shop)
    made.frame(shop)
    on_shelf, boxed = machine(olga, "read").get("frames/").json()["results"]
    assert on_shelf["known"]["expanded_ug"] == boxed["known"]["expanded_ug"] == ONE_UG
    assert on_shelf["boxed_known"] is None
    assert boxed["boxed_known"]["expanded_ug"] == ONE_UG
    one = machine(olga, "read").get(f"frames/{boxed['tag']}/").json()
    assert one["boxed_known"] == boxed["boxed_known"]


def test_a_run_tells_of_its_box_when_it_was_proposed(
    shop: Shop, olga: User, bea: User, ben: User
) -> None:
    """Two frames, then after the run one more: each run has the readings of its own frames."""
    for _ in range(2):
        made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=38_000)
    made.boxed(shop)
    made.ground(shop, bea, ben, flake_mg=19_000)
    runs = {run["box_mg"]: run for run in machine(olga, "read").get("runs/").json()["results"]}
    assert runs[38_800]["known"]["expanded_ug"] == TWO_UG
    assert runs[19_400]["known"]["expanded_ug"] == ONE_UG
    rows = list(GrindRun.objects.select_related("box"))
    alone = {run.code: traced.of_place_at(run.box, run.box_movement) for run in rows}
    assert traced.of_runs(rows) == alone


def test_a_batch_tells_of_what_was_issued_for_it(shop: Shop, olga: User) -> None:
    for mass_mg in (12_500, 7_500):
        made.issued(shop, "virgin", mass_mg, scale=shop.fine_scale)
    assert batch_heat.known_issues([shop.batch]) == {}
    ProductionBatch.objects.update(issued_mg=20_000)
    (batch,) = machine(olga, "read").get("batches/").json()["results"]
    assert (batch["known"]["expanded_ug"], batch["known"]["readings"]) == (TWO_UG, 2)
    made.issued(shop, "virgin", 1_000)
    (batch,) = machine(olga, "read").get("batches/").json()["results"]
    assert batch["known"] is None
    ProductionBatch.objects.update(issued_mg=21_000)
    (batch,) = machine(olga, "read").get("batches/").json()["results"]
    assert (batch["known"]["expanded_ug"], batch["known"]["unweighed_mg"]) == (TWO_UG, 1_000)


def test_a_page_of_rows_takes_a_fixed_number_of_questions(
    shop: Shop,
    bea: User,
    ben: User,
    django_assert_num_queries: Any,
    django_assert_max_num_queries: Any,
) -> None:
    ProductionBatch.objects.update(issued_mg=1)
    for _ in range(3):
        made.boxed(shop)
        made.ground(shop, bea, ben, flake_mg=19_000)
        made.issued(shop, "virgin", 1_000, scale=shop.fine_scale)
        rows = list(GrindRun.objects.select_related("box"))
        found = [made.boxed(shop) for _ in range(2)]
        batches = list(ProductionBatch.objects.all())
        # Month; snapshot; ends of the postings, their places, postings, readings, strip-downs and
        # what they left, runs once one is among them.
        with django_assert_max_num_queries(9):
            traced.of_runs(rows)
        with django_assert_num_queries(1):
            frames.boxed(found)
        with django_assert_num_queries(1):
            batch_heat.known_issues(batches)


# Masses in answers that no reading of ours stands behind, or whose ± has another name.
WITHOUT = {
    "AuditedFrameAnswer.difference_mg": "`limit_ug` is the difference that chance explains",
    "CardAnswer.total_mg": "what is wanted, not what was weighed",
    "CardLineAnswer.wanted_mg": "what is wanted, not what was weighed",
    "ComponentAnswer.nominal_mass_mg": "from a drawing",
    "ComponentAnswer.spread_mg": "a spread itself",
    "CorrectionAnswer.mass_mg": "its movement says how well it is known",
    "GoodsYieldAnswer.gross_mg": "a sum of loads, whose shares have their range",
    "HeapAnswer.mass_mg": "the frame's `boxed_known` is of its heaps together",
    "KnownMass.unweighed_mg": "what no weighing supports",
    "LoadAnswer.gross_mg": "its movement says how well it is known",
    "LoadAnswer.left_mg": "what its movements leave, each with its own",
    "LotAnswer.melt_flow_tolerance_mg": "a tolerance itself",
    "PartAnswer.nominal_mass_mg": "from a drawing",
    "SpoiledAnswer.mass_mg": "its movement says how well it is known",
    "WeighedAnswer.unweighed_mg": "what no weighing supports",
}
BESIDE = re.compile(r"known$|^weighed$|expanded")


def test_every_mass_in_an_answer_stands_with_its_uncertainty_or_says_why_not() -> None:
    schemas = yaml.safe_load(GOLDEN.read_text(encoding="utf-8"))["components"]["schemas"]
    bare = {
        f"{name}.{field}"
        for name, shape in schemas.items()
        for field in shape.get("properties", {})
        if field.endswith("_mg") and not name.endswith("Request")
        if f"{name}.{field}" in WITHOUT or not any(map(BESIDE.search, shape["properties"]))
    }
    assert bare == set(WITHOUT)
