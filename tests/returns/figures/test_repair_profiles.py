"""Repairability profiles of models from the owner's scores. Vectors constructed, exact arithmetic.

Steps for disassembly depth: Delegated Regulation (EU) 2023/1669, Annex IV, second-hand.
"""

from __future__ import annotations

from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.db import IntegrityError, transaction
from django.test import Client

from returns.figures.repairability import queries as repairability
from returns.figures.repairability.sums import Aspect
from returns.models import RepairScores
from tests.makers import Shop

pytestmark = pytest.mark.django_db
KINDS = ("front", "arm", "screw", "lens")


def scored(shop: Shop, *kinds: str, **changes: int) -> None:
    facts = {"steps": 2, "fasteners": 5, "tools": 5, "information": 5} | changes
    for kind in kinds:
        RepairScores.objects.create(model=shop.avocet, kind=kind, **facts)


def of_avocet(shop: Shop) -> repairability.ModelProfile:
    return repairability.of_model(shop.avocet)


def test_a_model_without_all_scores_has_no_profile_and_says_which(shop: Shop) -> None:
    scored(shop, "front", "arm", "screw")
    found = of_avocet(shop)
    assert (found.profile, found.missing) == (None, ("lens",))


def test_scores_are_weighed_equally(shop: Shop) -> None:
    """Spare parts by the bill: front 1, arm 3, screw 5 (in the kit), lens 1, mean 2.5; the other
    four aspects are 5: (4 * 5 + 2.5) / 5 = 4.5."""
    scored(shop, *KINDS)
    found = of_avocet(shop).profile
    assert found is not None
    assert found.by_aspect[Aspect.SPARE_PARTS] == Decimal("2.5")
    assert found.score == Decimal("4.5")
    assert found.weakest[1] is Aspect.SPARE_PARTS


@pytest.mark.parametrize(("steps", "score"), [(2, 5), (3, 4), (15, 2), (16, 1)])
def test_steps_become_a_score(shop: Shop, steps: int, score: int) -> None:
    scored(shop, *KINDS, steps=steps)
    found = of_avocet(shop).profile
    assert found is not None
    assert found.by_aspect[Aspect.DISASSEMBLY_DEPTH] == score


@pytest.mark.parametrize("count", range(1, 8))
def test_equal_weights_add_up_to_one(count: int) -> None:
    weights = repairability.equal(count)
    assert len(weights) == count
    assert sum(weights) == 1


@pytest.mark.parametrize("changes", [{"fasteners": 0}, {"tools": 6}, {"information": 0}])
def test_the_database_refuses_a_score_out_of_range(shop: Shop, changes: dict[str, int]) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        scored(shop, "arm", **changes)


def test_the_page_says_that_it_is_no_conformity(client: Client, olga: User, shop: Shop) -> None:
    client.force_login(olga)
    before = client.get("/owner/repairability/").content.decode()
    assert "these components have no scores: front, arm, lens, hinge screw" in before
    scored(shop, *KINDS)
    shown = client.get("/owner/repairability/").content.decode()
    assert "Borrowed, not conformity" in shown
    assert "4.5 of 5" in shown
    assert f"/admin/returns/framemodel/{shop.avocet.pk}/change/" in shown
