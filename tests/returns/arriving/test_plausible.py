"""Masses that no such frame weighs: which are asked back, and what was probably meant.

An Avocet of these tests: two arms of 4.15 g, a front of 11.2 g, two lenses of 2.6 g and two screws
of 0.105 g, 24.910 g in all. Worked by hand.
"""

from __future__ import annotations

import pytest

from returns.arriving.sums.mass_hypotheses import Component
from returns.arriving.sums.plausible import doubt

LIMIT_MG = 200
AVOCET = (
    Component("arm_left", 4_150, 51),
    Component("arm_right", 4_150, 51),
    Component("front", 11_200, 112),
    Component("lens_left", 2_600, 52),
    Component("lens_right", 2_600, 52),
    Component("screw_left", 105, 3),
    Component("screw_right", 105, 3),
)


def meant(mass_mg: int) -> int | None:
    found = doubt(mass_mg=mass_mg, limit_mg=LIMIT_MG, bill=AVOCET)
    assert found is not None
    return found.likely_mg


@pytest.mark.parametrize(
    "mass_mg",
    [
        24_910,
        24_310,  # a little light: within 200 mg and three spreads
        20_760,  # without an arm
        13_710,  # without its front
        19_710,  # without both lenses
        5_410,  # without front and arms
    ],
)
def test_whole_frame_or_one_with_pieces_missing_is_not_asked_back(mass_mg: int) -> None:
    assert doubt(mass_mg=mass_mg, limit_mg=LIMIT_MG, bill=AVOCET) is None


@pytest.mark.parametrize(
    ("mass_mg", "likely_mg"),
    [
        (2_431, 24_310),  # the sign moved by one place
        (243_100, 24_310),
        (42_310, 24_310),  # two digits swapped
        (1_234, None),  # 12.34 g lies between a lost front and more that is lost
        (30_000, None),
        (4_581, None),  # 5.481 g, digits swapped, would be a frame without front and arms
    ],
)
def test_other_mass_is_asked_back_with_what_was_probably_meant(
    mass_mg: int, likely_mg: int | None
) -> None:
    assert meant(mass_mg) == likely_mg


def test_limit_is_taken_at_and_refused_beyond_it() -> None:
    """The spread of the whole is sqrt(2 x 51² + 112² + 2 x 52² + 2 x 3²) = 152.2: 456 for three."""
    at, beyond = 24_910 + LIMIT_MG + 456, 24_910 + LIMIT_MG + 457
    assert doubt(mass_mg=at, limit_mg=LIMIT_MG, bill=AVOCET) is None
    assert doubt(mass_mg=beyond, limit_mg=LIMIT_MG, bill=AVOCET) is not None


def test_share_is_of_the_whole_frame() -> None:
    found = doubt(mass_mg=1_234, limit_mg=LIMIT_MG, bill=AVOCET)
    assert found is not None
    assert (found.whole_mg, found.share_ppm) == (24_910, 49_538)
