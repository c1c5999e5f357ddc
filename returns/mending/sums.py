"""Screw sizes of spectacle frames after ISO 11381, and what stepping a worn hole up asks for."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final


@dataclass(frozen=True, slots=True)
class Thread:
    """A thread size: its name with diameter and pitch, and the outer diameter in mm."""

    name: str
    diameter_mm: Decimal


THREADS: Final = (
    Thread("S0.8x0.2", Decimal("0.8")),
    Thread("M1x0.25", Decimal("1.0")),
    Thread("M1.2x0.25", Decimal("1.2")),
    Thread("M1.4x0.3", Decimal("1.4")),
    Thread("M1.6x0.35", Decimal("1.6")),
    Thread("M2x0.4", Decimal("2.0")),
)


def wall_needed_now_mm(current: Thread, following: Thread, *, wall_ratio: Decimal) -> Decimal:
    """Return the least plastic beside the hole today that lets it be stepped up to `following`.

    The wall is the thinnest plastic from the thread's outer diameter to the surface. What is left
    of it must be at least `wall_ratio` times the new diameter.
    """
    # Half of it on each side of the hole: a larger diameter takes from the wall on both.
    lost_mm = (following.diameter_mm - current.diameter_mm) / 2
    return wall_ratio * following.diameter_mm + lost_mm
