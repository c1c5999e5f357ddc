"""How easy a frame is to repair, aspect by aspect, and a published index for comparison.

The aspects are borrowed from EN 45554, which is written for energy-related products: spectacle
frames are none, so a profile made here is a guide for the workshop and no claim of conformity.
Scores run from 1 (hard) to 5 (easy); sums are Decimal, because binary floats misplace scores that
fall on the edge of a class.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

from returns.refusals import Refused


class RepairabilityError(Refused):
    """Scores or weights that make no profile."""


class Aspect(StrEnum):
    """What makes a repair easy or hard (aspects of EN 45554:2020, from memory)."""

    DISASSEMBLY_DEPTH = "disassembly_depth"
    FASTENERS = "fasteners"
    TOOLS = "tools"
    SPARE_PARTS = "spare_parts"
    REPAIR_INFORMATION = "repair_information"


@dataclass(frozen=True, slots=True)
class PartScores:
    """A priority part with its weight in the frame and its score, 1 to 5, for each aspect."""

    part_key: str
    weight: Decimal
    scores: Mapping[Aspect, int]


@dataclass(frozen=True, slots=True)
class Profile:
    """Weighted scores: the whole frame, each part, each aspect; and the part and aspect to mend.

    `weakest` is the pair whose rise to 5 would lift the whole the most.
    """

    score: Decimal
    by_part: Mapping[str, Decimal]
    by_aspect: Mapping[Aspect, Decimal]
    weakest: tuple[str, Aspect]


# Upper limits in steps for scores 5, 4, 3, 2 (Delegated Regulation (EU) 2023/1669, Annex IV).
_STEPS_MAX_BY_SCORE: Final = ((2, 5), (5, 4), (10, 3), (15, 2))


def profile(parts: Iterable[PartScores], aspect_weights: Mapping[Aspect, Decimal]) -> Profile:
    """Add up R = sum over parts w_p, over aspects w_a, of s(p, a).

    Part weights and aspect weights must each add up to 1 exactly; every part needs a score for
    every weighted aspect. Raises `RepairabilityError`.
    """
    rows = tuple(parts)
    _require_weights("part-weights", [row.weight for row in rows])
    _require_weights("aspect-weights", list(aspect_weights.values()))
    # The dictionaries below would silently keep the last of two.
    if len({row.part_key for row in rows}) != len(rows):
        raise RepairabilityError("part-twice", "Give each part once.")
    for row in rows:
        _require_scores(row, aspect_weights)
    by_part = {
        row.part_key: sum((w * row.scores[a] for a, w in aspect_weights.items()), Decimal(0))
        for row in rows
    }
    by_aspect = {
        aspect: sum((row.weight * row.scores[aspect] for row in rows), Decimal(0))
        for aspect in aspect_weights
    }
    score = sum((row.weight * by_part[row.part_key] for row in rows), Decimal(0))
    return Profile(score, by_part, by_aspect, _weakest(rows, aspect_weights))


def disassembly_depth_score(steps: int) -> int:
    """Score the steps needed to reach a part, from 5 (two or fewer) to 1 (over fifteen).

    Steps of Delegated Regulation (EU) 2023/1669, Annex IV; borrowed for frames.
    """
    if steps < 0:
        raise RepairabilityError("steps", "A number of steps cannot be below zero.")
    for steps_max, score in _STEPS_MAX_BY_SCORE:
        if steps <= steps_max:
            return score
    return 1


def _require_weights(code: str, weights: list[Decimal]) -> None:
    if any(weight <= 0 for weight in weights) or sum(weights, Decimal(0)) != 1:
        raise RepairabilityError(code, "Weights must be above zero and add up to 1.")


def _require_scores(row: PartScores, aspect_weights: Mapping[Aspect, Decimal]) -> None:
    for aspect in aspect_weights:
        if not 1 <= row.scores.get(aspect, 0) <= 5:
            raise RepairabilityError(
                "score", f"Score {row.part_key} from 1 to 5 for {aspect.value}."
            )


def _weakest(
    rows: Iterable[PartScores], aspect_weights: Mapping[Aspect, Decimal]
) -> tuple[str, Aspect]:
    lifts = [
        (row.weight * weight * (5 - row.scores[aspect]), row.part_key, aspect)
        for row in rows
        for aspect, weight in aspect_weights.items()
    ]
    # On the lift alone: of equal ones the first in the caller's order wins, not the last by name.
    best = max(lifts, key=lambda lift: lift[0])
    return best[1], best[2]
