"""Recipes: which legs a kind of movement allows. Vectors are constructed."""

from __future__ import annotations

import pytest

from inventory.ledger.sums import recipes
from inventory.ledger.sums.recipes import MG, PC


@pytest.mark.parametrize(
    ("kind", "source", "target", "unit", "allowed"),
    [
        ("weigh_in", "wearers", "arrivals", MG, True),
        ("weigh_in", "arrivals", "wearers", MG, False),
        ("weigh_in", "wearers", "arrivals", PC, False),
        ("carry", "hold", "hold", MG, False),
        ("post_kit", "bin", "wearers", PC, True),
    ],
)
def test_kind_allows_its_legs_one_way_in_one_unit(
    kind: str, source: str, target: str, unit: str, allowed: bool
) -> None:
    assert recipes.allows(kind, source, target, unit) is allowed
