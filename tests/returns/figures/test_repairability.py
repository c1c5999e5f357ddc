"""The profile of a frame. All vectors are constructed."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.figures.repairability.sums import (
    Aspect,
    PartScores,
    RepairabilityError,
    disassembly_depth_score,
    profile,
)

WEIGHTS = {Aspect.FASTENERS: D("0.6"), Aspect.TOOLS: D("0.4")}


def part(key: str, weight: str, fasteners: int, tools: int) -> PartScores:
    return PartScores(key, D(weight), {Aspect.FASTENERS: fasteners, Aspect.TOOLS: tools})


def test_profile_by_hand() -> None:
    """0.7 x (0.6 x 5 + 0.4 x 3) + 0.3 x (0.6 x 1 + 0.4 x 2) = 0.7 x 4.2 + 0.3 x 1.4 = 3.36."""
    found = profile([part("temple", "0.7", 5, 3), part("front", "0.3", 1, 2)], WEIGHTS)
    assert found.score == D("3.36")
    assert found.by_part == {"temple": D("4.2"), "front": D("1.4")}
    assert found.by_aspect == {Aspect.FASTENERS: D("3.8"), Aspect.TOOLS: D("2.7")}
    assert found.weakest == ("front", Aspect.FASTENERS)


@given(st.lists(st.integers(1, 5), min_size=4, max_size=4))
def test_by_part_and_by_aspect_add_up_to_the_same_score(s: list[int]) -> None:
    rows = [part("temple", "0.7", s[0], s[1]), part("front", "0.3", s[2], s[3])]
    found = profile(rows, WEIGHTS)
    assert sum(row.weight * found.by_part[row.part_key] for row in rows) == found.score
    assert sum(WEIGHTS[a] * score for a, score in found.by_aspect.items()) == found.score
    assert 1 <= found.score <= 5


@pytest.mark.parametrize(
    ("ask", "code"),
    [
        (lambda: profile([], WEIGHTS), "part-weights"),
        (lambda: profile([part("a", "0.9", 5, 5)], WEIGHTS), "part-weights"),
        (lambda: profile([part("a", "1", 5, 5)], {Aspect.TOOLS: D("0.9")}), "aspect-weights"),
        (lambda: profile([part("a", "0.5", 5, 5), part("a", "0.5", 5, 5)], WEIGHTS), "part-twice"),
        (lambda: profile([part("a", "1", 0, 5)], WEIGHTS), "score"),
        (lambda: profile([part("a", "1", 5, 6)], WEIGHTS), "score"),
        (lambda: profile([PartScores("a", D(1), {})], WEIGHTS), "score"),
        (lambda: disassembly_depth_score(-1), "steps"),
    ],
)
def test_nonsense_is_refused(ask, code: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(RepairabilityError) as refused:
        ask()
    assert refused.value.code == code
