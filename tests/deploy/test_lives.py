"""What the demo sells and what breaks: the draws follow the spans that the table states."""

from __future__ import annotations

from collections import Counter
from math import sqrt
from random import Random

import pytest

from deploy.demo import lives
from deploy.demo.lives import CAUSES, SOLD_BY_MONTH, WAYS, Cause
from returns.figures.lifetimes.sums.lifetimes import Exposure
from returns.figures.lifetimes.sums.weibull import weibull_fit

MONTHS = 13


def _seeded(seed: int) -> Random:
    return Random(seed)  # noqa: S311  a draw for a test


def test_every_month_sells_what_the_table_says() -> None:
    sold: Counter[int] = Counter()
    for batch in lives.batches(MONTHS):
        for month, pieces in batch.sold:
            sold[month] += pieces
    # Each colourway is rounded on its own: at most half a piece off.
    assert all(abs(sold[month] - SOLD_BY_MONTH[month]) <= len(WAYS) / 2 for month in range(MONTHS))


def test_nothing_is_sold_before_the_month_after_it_was_moulded() -> None:
    for batch in lives.batches(MONTHS):
        assert all(month > batch.month for month, _pieces in batch.sold)
        assert batch.pieces > sum(pieces for _month, pieces in batch.sold)


def test_no_colourway_is_sold_from_two_batches_in_one_month() -> None:
    seen = Counter(
        (batch.model, batch.colour, month)
        for batch in lives.batches(MONTHS)
        for month, _pieces in batch.sold
    )
    assert set(seen.values()) == {1}


@pytest.mark.parametrize("cause", CAUSES, ids=lambda cause: f"{cause.component}-{cause.defect}")
def test_share_that_breaks_in_a_year_is_as_stated(cause: Cause) -> None:
    random, draws = _seeded(7), 4000
    share = cause.in_a_year["avocet"]
    early = sum(cause.months(random, share) <= lives.YEAR_MONTHS for _n in range(draws))
    assert abs(early / draws - share) <= 4 * sqrt(share * (1 - share) / draws)


@pytest.mark.parametrize("shape", [0.6, 1.0, 2.2])
def test_fit_finds_the_shape_that_a_cause_was_drawn_with(shape: float) -> None:
    cause, random = Cause("arm", "snapped", shape, {}), _seeded(11)
    spans = [cause.months(random, 0.5) for _n in range(1500)]
    found = weibull_fit([Exposure(span, "return", 1) for span in spans])
    assert abs(found.shape - shape) <= 4 * found.shape_standard_error


def test_a_piece_comes_back_after_it_was_sold_and_at_most_once() -> None:
    for batch in lives.batches(MONTHS):
        found = list(lives.breaks(lives.chance(batch), batch))
        assert all(one.filed > one.sold for one in found)
        per_month = Counter(one.sold for one in found)
        assert all(per_month[month] <= pieces for month, pieces in batch.sold)


def test_same_seed_gives_the_same_lives() -> None:
    batch = lives.batches(MONTHS)[5]
    first = list(lives.breaks(lives.chance(batch), batch))
    assert first == list(lives.breaks(lives.chance(batch), batch))


def test_weak_batch_breaks_more_than_twice_as_often_as_any_other_of_its_size() -> None:
    shares = {}
    for batch in lives.batches(MONTHS):
        pieces = sum(count for _month, count in batch.sold)
        broken = sum(one.filed < MONTHS for one in lives.breaks(lives.chance(batch), batch))
        if pieces >= 90:
            shares[batch.is_weak] = max(shares.get(batch.is_weak, 0.0), broken / pieces)
    assert shares[True] > 2 * shares[False]
