"""What shares a weighed blend reached, beside those that its recipe wants. Exact whole numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from inventory.material.sums.heat import WHOLE_PPM


@dataclass(frozen=True, slots=True)
class Reached:
    """A colour's share: wanted and reached, in parts per million of the whole.

    `is_kept` compares before rounding: the last part per million decides nothing by itself.
    """

    colour: str
    wanted_ppm: int
    reached_ppm: int
    mass_mg: int
    is_kept: bool

    @property
    def off_ppm(self) -> int:
        """How far the share is above (or, below zero, under) the recipe."""
        return self.reached_ppm - self.wanted_ppm


def reached(
    masses_mg: Mapping[str, int], recipe: Mapping[str, int], *, tolerance_ppm: int
) -> tuple[Reached, ...]:
    """Return the share of each colour of the recipe, and of each that was weighed besides.

    Nothing weighed reaches a share of nothing. A tolerance is met at its very limit.
    """
    whole_mg = sum(masses_mg.values())
    rows = []
    for colour in [*recipe, *(other for other in masses_mg if other not in recipe)]:
        wanted, mass_mg = recipe.get(colour, 0), masses_mg.get(colour, 0)
        share = Fraction(mass_mg * WHOLE_PPM, whole_mg) if whole_mg else Fraction(0)
        is_kept = abs(share - wanted) <= tolerance_ppm
        rows.append(Reached(colour, wanted, round(share), mass_mg, is_kept))
    return tuple(rows)
