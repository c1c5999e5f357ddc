"""Every leg that a recipe allows on a box, a lot or a bin has its column in the report."""

from __future__ import annotations

import pytest

from inventory.ledger.sums.recipes import KINDS
from inventory.months.queries import columns

LEGS = sorted((kind, leg.source, leg.target) for kind, legs in KINDS.items() for leg in legs)


@pytest.mark.parametrize(("kind", "source", "target"), LEGS)
def test_both_ends_of_every_leg_count_somewhere(kind: str, source: str, target: str) -> None:
    for here, there in ((source, target), (target, source)):
        if here in ("box", "lot"):
            assert columns.of_material(kind, here, there, "virgin") in columns.MATERIAL
        if here == "bin":
            assert columns.of_parts(kind) in columns.PARTS


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
    assert columns.of_material("receive_feedstock", "box", "suppliers", origin) == column
