"""A frame's share of a batch: by mass, evenly mixed. Worked by hand, from no published source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.regrind.sums import Part, part_in_batch


def test_share_by_hand() -> None:
    # 17.9 g of 1 000 g ground, 400 g of the lot in a batch of 800 g: 7.16 g, which is 0.895 %.
    part = part_in_batch(frame_mg=17_900, ground_mg=1_000_000, taken_mg=400_000, batch_mg=800_000)
    assert part == Part(7_160, 8_950)


@pytest.mark.parametrize(
    "wrong",
    [
        {"frame_mg": 11, "ground_mg": 10},
        {"taken_mg": 11, "batch_mg": 10},
        {"ground_mg": 0, "frame_mg": 0},
        {"batch_mg": 0, "taken_mg": 0},
        {"frame_mg": -1},
    ],
)
def test_a_part_is_no_larger_than_its_whole(wrong: dict[str, int]) -> None:
    with pytest.raises(ValueError, match="larger"):
        part_in_batch(**({"frame_mg": 1, "ground_mg": 10, "taken_mg": 1, "batch_mg": 10} | wrong))


@given(
    frames=st.lists(st.integers(1, 100_000), min_size=1, max_size=20),
    taken_mg=st.integers(1, 10_000_000),
)
def test_the_frames_of_a_lot_share_out_what_was_taken(frames: list[int], taken_mg: int) -> None:
    whole = sum(frames)
    parts = [
        part_in_batch(frame_mg=one, ground_mg=whole, taken_mg=taken_mg, batch_mg=taken_mg)
        for one in frames
    ]
    assert abs(sum(part.mass_mg for part in parts) - taken_mg) <= len(frames) / 2
    assert abs(sum(part.share_ppm for part in parts) - 1_000_000) <= len(frames) / 2
