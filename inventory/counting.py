"""The outcome of a stock count of a place, in grams or in pieces."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.models import Movement


@dataclass(frozen=True, slots=True)
class Counted:
    """A count that was taken. `movement` put the books right; it is None where they agreed."""

    movement: Movement | None
    short: int = 0
    """Pieces that are promised and were not found."""
