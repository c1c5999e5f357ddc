"""Yields, limits of proportions, and causes in order. Sources stand beside each check."""

from __future__ import annotations

import pytest

from returns.spoiling import sums

STEPS = ("press", "drill", "groove")


def test_rolled_yield_is_that_of_the_published_example() -> None:
    """Support pages of a statistics program, "What are throughput yield (YTP) and rolled throughput
    yield (YRT)": 1000 labels over three steps of 0.95, 0.84 and 0.88 give 0.70.
    """
    steps = [
        sums.StepYield("1", 100, 5),
        sums.StepYield("2", 100, 16),
        sums.StepYield("3", 100, 12),
    ]
    assert round(sums.rolled(steps) or 0, 2) == 0.70


def test_rolled_yield_of_scrap_alone_is_good_over_begun() -> None:
    found = sums.step_yields(STEPS, {"press": 10, "groove": 9}, good_after_first=90)
    assert [(one.entered, one.spoiled) for one in found] == [(100, 10), (90, 0), (90, 9)]
    assert sums.rolled(found) == pytest.approx(81 / 100)


@pytest.mark.parametrize(("spoiled", "fits"), [(89, True), (90, True), (91, False)])
def test_no_more_are_spoiled_than_there_were(spoiled: int, fits: bool) -> None:
    if fits:
        found = sums.step_yields(STEPS, {"drill": spoiled}, good_after_first=90)
        assert found[2].entered == 90 - spoiled
    else:
        with pytest.raises(ValueError, match="more pairs"):
            sums.step_yields(STEPS, {"drill": spoiled}, good_after_first=90)


def test_limits_are_those_of_the_published_example_with_equal_sizes() -> None:
    """An Introduction to Business Statistics, example 16.6: ten samples of 200, 320 defective,
    give 0.16 and limits of 0.2378 and 0.0822; all inside.
    """
    counts = [(n, 200) for n in (40, 44, 22, 34, 24, 32, 28, 32, 34, 30)]
    found = sums.proportions(counts)
    assert found is not None
    assert found.mean == pytest.approx(0.16)
    assert [(round(one.low, 4), round(one.high, 4)) for one in found.each[:1]] == [(0.0822, 0.2378)]
    assert not any(one.is_outside for one in found.each)


def test_limits_of_a_smaller_mean_are_cut_at_zero() -> None:
    """Solutions to Montgomery, Introduction to Statistical Quality Control, exercise 6-1: mean
    0.0585 of samples of 100 gives 0.1289, and a lower limit below zero that counts as zero.
    """
    low, high = sums.limits(0.0585, 100)
    assert (low, round(high, 4)) == (0.0, 0.1289)


def test_each_size_has_its_own_limits() -> None:
    """Handbook for Quality Management, table 9.6: 1544 of 8000 peaches bruised, crates of 250 and
    of two at once. The mean share is of the table, the limits are ours by the formula.
    """
    ones = (47, 42, 55, 51, 46, 61, 39, 44, 41, 51, 40, 48, 47, 50, 48, 57, 45, 43)
    twos = (88, 101, 101, 105, 98, 100, 96)
    counts = [(n, 250) for n in ones] + [(n, 500) for n in twos]
    found = sums.proportions(counts)
    assert found is not None
    assert (sum(size for _n, size in counts), sum(n for n, _size in counts)) == (8000, 1544)
    assert found.mean == pytest.approx(0.193)
    assert found.each[0].high > found.each[-1].high > found.mean
    # Another program's own example of unequal sizes: 134 of mean 0.0601 give 0.122 and 0
    # (vignette "Attributes charts: p, np, c, u" of the R package shewhartr, first row).
    low, high = sums.limits(0.0601, 134)
    assert (low, round(high, 3)) == (0.0, 0.122)


def test_few_batches_have_no_limits_and_few_pairs_rough_ones() -> None:
    assert sums.proportions([(1, 10)] * 4) is None
    found = sums.proportions([(1, 10)] * 5)
    assert found is not None
    assert found.each[0].is_rough
    for wrong in ((-1, 5), (6, 5), (0, 0)):
        with pytest.raises(ValueError, match="none to all"):
            sums.proportions([wrong])


def test_causes_come_most_pairs_first_with_what_they_make_together() -> None:
    found = sums.in_order({("a", "x"): 2, ("b", "y"): 6, ("a", "w"): 2})
    assert [(one.key, one.pieces, one.together) for one in found] == [
        (("b", "y"), 6, 0.6),
        (("a", "w"), 2, 0.8),
        (("a", "x"), 2, 1.0),
    ]
    assert sums.in_order({}) == []
