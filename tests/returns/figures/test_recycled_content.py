"""Vectors are constructed; the formula is ISO 14021:2016 clause 7.8 (from memory)."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.figures.circularity.sums.recycled_content import Issue, Origin, recycled_content
from returns.figures.claims.sums.claims import InputRefused

ORIGINS = [*Origin, "unknown", ""]
ISSUES = st.lists(st.builds(Issue, st.sampled_from(ORIGINS), st.integers(1, 10**9)))


def test_a_month_with_own_regrind_looped_back_states_85_percent():
    # Constructed: 42.5 kg external reclaimed, 7.5 kg virgin and masterbatch, 6 kg own regrind.
    result = recycled_content(
        [
            Issue("post_consumer_feedstock", 42_500_000),
            Issue("virgin", 7_500_000),
            Issue("in_process", 6_000_000),
        ]
    )
    assert result.post_consumer_share == Fraction(85, 100)
    # The wrong sum, with regrind counted on both sides, would state 86.6 %.
    wrong = Fraction(48_500_000, 56_000_000)
    assert float(wrong) == pytest.approx(0.866, abs=5e-4)
    assert result.post_consumer_share != wrong


@pytest.mark.parametrize(
    ("recycled_mg", "product_mg", "percent"),
    [(850_000_000, 1_000_000_000, 85), (22_000, 25_000, 88)],
)
def test_constructed_products(recycled_mg, product_mg, percent):
    result = recycled_content(
        [Issue("post_consumer_return", recycled_mg), Issue("virgin", product_mg - recycled_mg)]
    )
    assert result.post_consumer_share == Fraction(percent, 100)


def test_returns_and_feedstock_both_count_and_stay_apart():
    result = recycled_content(
        [
            Issue(Origin.POST_CONSUMER_RETURN, 30),
            Issue(Origin.POST_CONSUMER_FEEDSTOCK, 50),
            Issue(Origin.VIRGIN, 20),
        ]
    )
    assert result.post_consumer_share == Fraction(8, 10)
    assert result.return_share == Fraction(3, 10)
    assert (result.post_consumer_return_mg, result.post_consumer_feedstock_mg) == (30, 50)


@pytest.mark.parametrize("origin", ["", "unknown", "pre_consumer", "someone said so"])
def test_an_origin_nobody_can_name_counts_as_virgin(origin):
    result = recycled_content([Issue(origin, 25), Issue("post_consumer_return", 75)])
    assert result.virgin_mg == result.unknown_mg == 25
    assert result.post_consumer_share == Fraction(3, 4)


def test_only_own_scrap_gives_no_share_to_state():
    result = recycled_content([Issue("in_process", 10)])
    assert result.post_consumer_share is None
    assert result.return_share is None
    assert result.in_process_mg == 10


@pytest.mark.parametrize("mass_mg", [0, -1])
def test_an_issue_without_positive_mass_is_refused(mass_mg):
    with pytest.raises(InputRefused):
        recycled_content([Issue("virgin", mass_mg)])


@given(issues=ISSUES, scrap=st.integers(1, 10**9))
def test_own_scrap_never_moves_the_share_and_masses_are_conserved(issues, scrap):
    before = recycled_content(issues)
    after = recycled_content([*issues, Issue("in_process", scrap)])
    assert after.post_consumer_share == before.post_consumer_share
    assert after.in_process_mg == before.in_process_mg + scrap
    assert before.counted_mg + before.in_process_mg == sum(issue.mass_mg for issue in issues)
