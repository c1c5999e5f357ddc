"""Stepping a worn hole up. Wall vectors are worked by hand."""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from returns.mending.sums import THREADS, wall_needed_now_mm

SIZES = {thread.name: thread for thread in THREADS}


@pytest.mark.parametrize(
    ("now", "following", "ratio", "wall"),
    [
        ("M1.4x0.3", "M1.6x0.35", "0.5", "0.90"),  # 0.1 mm is cut away, half of 1.6 mm stays.
        ("M1.4x0.3", "M2x0.4", "0.5", "1.30"),
        ("S0.8x0.2", "M1x0.25", "0.3", "0.40"),
        ("M1.6x0.35", "M1.6x0.35", "0.5", "0.80"),  # The same size again cuts nothing away.
    ],
)
def test_wall_needed_is_what_is_cut_away_and_what_must_stay(
    now: str, following: str, ratio: str, wall: str
) -> None:
    assert wall_needed_now_mm(SIZES[now], SIZES[following], wall_ratio=D(ratio)) == D(wall)
