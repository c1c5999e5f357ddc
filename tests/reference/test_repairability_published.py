"""Steps of Commission Delegated Regulation (EU) 2023/1669, Annex IV.

Second-hand, from a compliance consultancy's page on the regulation.
"""

from __future__ import annotations

import pytest

from returns.figures.repairability.sums import disassembly_depth_score


@pytest.mark.parametrize(
    ("steps", "score"),
    [(0, 5), (2, 5), (3, 4), (5, 4), (6, 3), (10, 3), (11, 2), (15, 2), (16, 1), (99, 1)],
)
def test_disassembly_depth_steps(steps: int, score: int) -> None:
    """Second-hand: up to 2 steps 5, 3-5 4, 6-10 3, 11-15 2, more 1."""
    assert disassembly_depth_score(steps) == score
