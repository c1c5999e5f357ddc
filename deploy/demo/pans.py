"""What the workshop's scales show, and what really lies in its boxes and lots.

The books know readings only. The story knows the true masses as well, so that what is weighed
twice agrees within what the scales can tell, unless somebody weighed wrongly.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field
from random import Random

from inventory.models import Place, Scale

# The error that each scale has whatever lies on it; well within its class. Invented.
OFFSET_MG = {"Bench scale": 9, "Fine scale": 1, "Box scale": 260}
UNREST_DIVISIONS = 0.35


def typed(mass_mg: int, scale: Scale) -> str:
    """Write a mass as a person reads it off the scale and types it."""
    # A scale shows whole divisions only, and what it cannot show is refused when typed.
    shown_mg = max(1, round(mass_mg / scale.division_mg)) * scale.division_mg
    return f"{shown_mg / 1000:.3f}".rstrip("0").rstrip(".") + " g"


@dataclass
class Pans:
    """The scales, and by place the true milligrams of material in it."""

    random: Random
    truth: Counter[int] = field(default_factory=Counter)

    def read(self, mass_mg: int, scale: Scale) -> str:
        """Return what is typed when a true mass is put on a scale."""
        unrest_mg = self.random.gauss(0, UNREST_DIVISIONS * scale.division_mg)
        return typed(round(mass_mg + OFFSET_MG.get(scale.name, 0) + unrest_mg), scale)

    def put(self, place: Place, mass_mg: int) -> None:
        """Add to what really lies in a place."""
        self.truth[place.pk] += mass_mg

    def lies_in(self, place: Place) -> int:
        """Return the true milligrams in a place."""
        return self.truth[place.pk]

    def take(self, place: Place, mass_mg: int) -> int:
        """Take out up to a mass; returns what was really there to take."""
        # In truth nothing goes below zero, whatever the books still have of it.
        taken_mg = min(mass_mg, self.truth[place.pk])
        self.truth[place.pk] -= taken_mg
        return taken_mg
