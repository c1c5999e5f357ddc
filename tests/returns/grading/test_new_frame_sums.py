"""The cost of a new frame from the batches that were made, by hand."""

from __future__ import annotations

import pytest

from returns.grading.sums.new_frame import MadeBatch, UnitPrices, measured

PRICES = UnitPrices(
    material_minor_per_kg=500, labour_minor_per_hour=3_000, parts_minor=120, overhead_minor=40
)


def test_costs_of_all_batches_are_borne_by_all_good_pairs() -> None:
    """3 kg at 5.00 and 300 minutes at 30.00 an hour: 15.00 + 150.00 over 150 pairs is 1.10."""
    found = measured([MadeBatch(100, 2_000_000, 120), MadeBatch(50, 1_000_000, 180)], PRICES)
    assert found is not None
    assert found.cost_minor == 110 + 160
    assert (found.material_minor, found.labour_minor) == (10, 100)
    # 10.00 + 60.00 over 100 pairs, 5.00 + 90.00 over 50.
    assert (found.low_minor, found.high_minor) == (70 + 160, 190 + 160)


def test_a_batch_that_was_lost_whole_makes_the_others_dearer() -> None:
    found = measured([MadeBatch(10, 1_000_000, 60), MadeBatch(0, 1_000_000, 60)], PRICES)
    assert found is not None
    assert found.cost_minor == (1_000 + 6_000) // 10 + 160
    assert measured([MadeBatch(0, 1_000_000, 60)], PRICES) is None
    assert measured([], PRICES) is None


def test_the_lines_add_up_and_a_fraction_costs_a_whole_cent() -> None:
    found = measured([MadeBatch(7, 1_000, 1)], PRICES)
    assert found is not None
    lines = (found.material_minor, found.labour_minor, found.parts_minor, found.overhead_minor)
    assert (sum(lines), found.cost_minor) == (168, 168)


def test_figures_below_zero_are_refused() -> None:
    with pytest.raises(ValueError, match="not below zero"):
        measured([MadeBatch(1, -1, 1)], PRICES)
