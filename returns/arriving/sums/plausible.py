"""Whether a weighed mass can be that of a frame, and which figure was probably meant if it cannot.

A frame is expected whole, or with up to three of its pieces missing. Anything else may still be
so, but more often a finger slipped: it is asked back, never refused for good.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import sqrt
from typing import Final

from returns.arriving.sums.mass_hypotheses import (
    Component,
    Explanation,
    Hypothesis,
    Priors,
    hypotheses,
    merged,
)
from returns.grading.sums.facts import PPM

# Own choice: pieces of a bill spread normally, and beyond three spreads somebody should look.
SPREADS: Final = 3
# Own choice: the sign slipped by up to three places, as from grams to milligrams.
PLACES_SLIPPED_MAX: Final = 3
_EXPECTED: Final = (Explanation.COMPLETE, Explanation.MISSING)


@dataclass(frozen=True, slots=True)
class Doubt:
    """A mass that a bill does not explain.

    `share_ppm` is its share of the whole frame of `whole_mg`; `likely_mg` what was probably meant:
    a frame that is whole or lacks one piece. None where no slip of a finger explains it.
    """

    mass_mg: int
    whole_mg: int
    share_ppm: int
    likely_mg: int | None


def doubt(*, mass_mg: int, limit_mg: int, bill: Sequence[Component]) -> Doubt | None:
    """Return what is doubtful about a mass, None where the frame may weigh so much.

    `limit_mg` is how far a reading may lie from what is expected before anybody asks; the spread
    of the pieces that are there comes on top.
    """
    expected = _expected(bill)
    if _explained(mass_mg, limit_mg, expected):
        return None
    whole_mg = sum(piece.nominal_mg * piece.count for piece in bill)
    # With three pieces missing at will almost any figure would explain itself. A guess at what was
    # meant must be a frame that is usual.
    usual = [one for one in expected if all(len(two.gone) <= 1 for two in one.changes)]
    meant = [one for one in _slips(mass_mg) if _explained(one, limit_mg, usual)]
    return Doubt(
        mass_mg=mass_mg,
        whole_mg=whole_mg,
        share_ppm=mass_mg * PPM // whole_mg,
        likely_mg=min(meant, key=lambda one: abs(one - whole_mg), default=None),
    )


def _expected(bill: Sequence[Component]) -> list[Hypothesis]:
    # Only masses and spreads are read, so the priors do not matter, and the reading's part is in
    # `limit_mg`.
    every = merged(hypotheses(tuple(bill), (), Priors(), 0.0))
    return [one for one in every if one.explanation in _EXPECTED]


def _explained(mass_mg: int, limit_mg: int, expected: Iterable[Hypothesis]) -> bool:
    return any(
        abs(mass_mg - one.mean_mg) <= limit_mg + SPREADS * sqrt(one.variance_mg2)
        for one in expected
    )


def _slips(mass_mg: int) -> Iterator[int]:
    """Figures that a slip of a finger turns into this one: a sign moved, two digits swapped."""
    for power in range(1, PLACES_SLIPPED_MAX + 1):
        yield mass_mg * 10**power
        # A figure that does not divide evenly would have had digits below a milligram, and none are
        # typed.
        if mass_mg % 10**power == 0:
            yield mass_mg // 10**power
    digits = str(mass_mg)
    for place in range(len(digits) - 1):
        swapped = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
        # Nobody types a leading zero: such a pair is not two swapped digits but another length.
        if swapped[0] != "0":
            yield int(swapped)
