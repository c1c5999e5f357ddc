"""Recipes: which legs a kind of movement allows. Vectors are constructed."""

from __future__ import annotations

import pytest

from inventory.ledger.sums import recipes
from inventory.ledger.sums.recipes import MG, PC, Column, Effect, Leg


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


def test_a_list_of_places_makes_a_leg_of_each_pair_that_differs() -> None:
    facts = {"unit": MG, "at_source": "issued", "at_target": "counted"}
    assert recipes._legs(MG, "box lot", "lot", at_source="issued", at_target="counted") == (
        Leg(source="box", target="lot", **facts),
    )


@pytest.mark.parametrize(
    ("source", "column", "is_good"),
    [("box", "issued", True), ("box", None, False), ("bench", None, True), ("bench", "in", False)],
)
def test_a_leg_has_a_column_where_the_report_counts_by_columns_and_nowhere_else(
    source: str, column: str | None, is_good: bool
) -> None:
    facts = {"source": source, "target": "wearers", "unit": MG, "at_target": None}
    if is_good:
        assert Leg(at_source=column, **facts).ends[0] == (source, column)
    else:
        with pytest.raises(ValueError, match=f"a column for {source}"):
            Leg(at_source=column, **facts)


def test_a_column_into_boxes_and_lots_moves_stock() -> None:
    made = recipes._into(Effect.NORMAL, "losses")
    assert made == Column(effect=Effect.NORMAL, watched="losses", inside=False)
