"""The coverage measurement: the draw is repeatable, true to the demo, and quoted as printed."""

from __future__ import annotations

from deploy.demo import lives
from tests.benchmarks import coverage


def test_workshop_is_drawn_again_alike_and_sells_what_the_demo_does() -> None:
    sold, came = coverage.workshop(5, weak=True)
    assert (sold, came) == coverage.workshop(5, weak=True)
    assert came != coverage.workshop(6, weak=True)[1]
    pieces = sum(sold.values())
    assert abs(pieces - sum(lives.SOLD_BY_MONTH)) <= coverage.MONTHS * len(lives.WAYS) / 2
    assert 0 < sum(came.values()) < pieces


def test_weak_batch_left_out_comes_back_less() -> None:
    weak, sound = (coverage.workshop(5, weak=weak)[1] for weak in (True, False))
    assert sum(sound.values()) < sum(weak.values())


def test_months_are_judged_by_their_limits() -> None:
    months = list(coverage.measured(1, 0.9, [5], weak=True))
    assert months[-1].number == coverage.MONTHS
    assert all(month.expected >= 0 for month in months)
    assert coverage.held(months) == f"{100 * sum(m.is_held for m in months) / len(months):.1f} %"
    high = [coverage.Month(1, 12.0, 10, is_held=False), coverage.Month(2, 10.0, 10, is_held=True)]
    assert (coverage.held(high), coverage.off(high)) == ("50.0 %", "+10.0 %")
