"""Every kind of movement and every column of the report answers every question asked of it."""

from __future__ import annotations

import pytest

from inventory.ledger.sums import recipes
from inventory.ledger.sums.recipes import COLUMNS, KINDS, MATERIAL, MG, PARTS, SHELVES, Leg
from inventory.models import Origin, PlaceKind
from inventory.months.queries.recovered import comparison
from inventory.months.reports import headings

LEGS = [
    (kind, here, there, counted)
    for kind, row in KINDS.items()
    for leg in row.legs
    for (here, counted), (there, _other) in (leg.ends, leg.ends[::-1])
]


@pytest.mark.parametrize(("kind", "here", "there", "counted"), LEGS)
def test_both_ends_of_every_leg_count_somewhere(
    kind: str, here: str, there: str, counted: recipes.Counted
) -> None:
    assert {here, there} <= set(PlaceKind.values)
    if counted is not None:
        for origin in Origin.values if here in ("box", "lot") else ("",):
            column = recipes.column(kind, here, there, origin)
            assert column in (MATERIAL if here in ("box", "lot") else PARTS)


@pytest.mark.parametrize(
    ("origin", "column"),
    [
        ("virgin", "virgin"),
        ("in_process", "in_process"),
        ("post_consumer_feedstock", "feedstock"),
        ("post_consumer_return", "feedstock"),
    ],
)
def test_bought_material_counts_by_its_origin(origin: str, column: str) -> None:
    assert recipes.column("receive_feedstock", "box", "sellers", origin) == column


def test_a_reversal_counts_where_what_it_takes_back_counted() -> None:
    """Its lot is the source and its box the target, and each is asked as seen from there."""
    assert recipes.column("grind", "box", "lot", "virgin") == "ground_out"
    assert recipes.column("grind", "lot", "box", "virgin") == "ground_in"


@pytest.mark.parametrize(
    ("kind", "here", "there", "origin"),
    [
        ("melt", "box", "lot", "virgin"),
        ("issue", "box", "press", "virgin"),
        ("weigh_in", "arrivals", "wearers", ""),
        ("receive_feedstock", "lot", "sellers", "found"),
    ],
)
def test_what_no_recipe_has_is_refused(kind: str, here: str, there: str, origin: str) -> None:
    with pytest.raises(LookupError):
        recipes.column(kind, here, there, origin)


@pytest.mark.parametrize(
    ("source", "at_source"), [("lot", None), ("bin", None), ("arrivals", "counted")]
)
def test_a_leg_names_its_column_at_stock_and_nowhere_else(
    source: str, at_source: str | None
) -> None:
    with pytest.raises(ValueError, match=source):
        Leg(source=source, target="wearers", unit=MG, at_source=at_source, at_target=None)


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_has_its_words_and_says_where_its_cost_is_told(kind: str) -> None:
    row = KINDS[kind]
    assert headings.KINDS[kind]
    assert row.means
    touches_material = any(end in ("box", "lot") for leg in row.legs for end, _counted in leg.ends)
    assert (row.worth_step is not None) == touches_material
    assert row.worth_step is None or headings.STEPS[row.worth_step]
    assert not row.drawn or any(leg.unit == MG for leg in row.legs)


@pytest.mark.parametrize("column", MATERIAL)
def test_every_column_of_material_has_its_words_and_its_place_beside_last_month(
    column: str,
) -> None:
    assert headings.COLUMNS[column]
    assert headings.SHORT[column]
    assert COLUMNS[column].watched in ("", *comparison.WATCHED)


def test_every_column_is_used_and_every_word_is_of_something() -> None:
    every = {*MATERIAL, *PARTS, *SHELVES, "opening", "closing"}
    assert set(headings.COLUMNS) == set(headings.SHORT) == every
    assert set(headings.KINDS) == set(KINDS)
    used = {recipes.column(k, h, t, o) for k, h, t, c in LEGS if c for o in Origin.values}
    assert used == {*MATERIAL, *PARTS}
