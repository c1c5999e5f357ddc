"""What loads of one kind yield, and what a next one will. Checked against a published interval."""

from __future__ import annotations

import pytest

from inventory.goods import sums


def test_prediction_interval_is_that_of_the_published_example() -> None:
    """Montgomery and Runger, Applied Statistics and Probability for Engineers, 3rd edition 2003,
    section 8-6, example 8-8: 22 adhesion tests, mean 13.71, s 3.55 give 6.16 to 21.26.
    """
    low, high = sums.prediction_of(13.71, 3.55, 22)
    assert (round(low, 2), round(high, 2)) == (6.16, 21.26)


def test_share_is_of_all_mass_and_its_range_of_single_loads() -> None:
    found = sums.share([(900, 1000), (100, 400)])
    assert found is not None
    assert (found.mean, found.low, found.high) == (1000 / 1400, 0.25, 0.9)
    assert (found.next_low, found.next_high, found.loads) == (None, None, 2)


@pytest.mark.parametrize(("loads", "is_told"), [(2, False), (3, True), (4, True)])
def test_the_next_load_is_told_from_three_on_and_never_outside_all_and_nothing(
    loads: int, is_told: bool
) -> None:
    found = sums.share([(900 - 400 * (n % 2), 1000) for n in range(loads)])
    assert found is not None
    assert (found.next_low is not None) == is_told
    if found.next_low is not None and found.next_high is not None:
        assert 0 <= found.next_low <= found.low
        assert found.high <= found.next_high <= 1


def test_nothing_is_no_share_and_impossible_loads_are_refused() -> None:
    assert sums.share([]) is None
    for pair in ((-1, 5), (0, 0)):
        with pytest.raises(ValueError, match="weighs something"):
            sums.share([pair])
