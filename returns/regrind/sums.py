"""How much of one frame is in a batch, by mass and with even mixing. Pure.

Flake is mixed in the granulator, so no piece can be followed. What can be said is a share: the
frame's material over all material ground with it. It is carried over to what was moulded from the
lot. This is mass balance as a rolling share within one lot, not a trace of particles.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

PPM = 1_000_000


@dataclass(frozen=True, slots=True)
class Part:
    """Of a frame in a batch: milligrams, and parts per million of the whole batch."""

    mass_mg: int
    share_ppm: int


def part_in_batch(*, frame_mg: int, ground_mg: int, taken_mg: int, batch_mg: int) -> Part:
    """Return how much of a frame a batch holds, each figure rounded half to even.

    The frame was `frame_mg` of the `ground_mg` that became a lot; a batch of `batch_mg` took
    `taken_mg` of that lot. All frames of a lot bear its losses alike.

    Raises ValueError when a part is larger than its whole or a whole is nothing.
    """
    if not 0 <= frame_mg <= ground_mg or not 0 <= taken_mg <= batch_mg or not ground_mg * batch_mg:
        raise ValueError("a part is larger than its whole")
    # A fraction stays exact until the end, so that mass and share are each rounded once.
    mass_mg = Fraction(frame_mg, ground_mg) * taken_mg
    return Part(round(mass_mg), round(mass_mg / batch_mg * PPM))
