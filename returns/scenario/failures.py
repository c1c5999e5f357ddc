"""What breaks in the scenario, and how often. Invented weights, for the demo only."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random

from returns.gradingfacts import Seen
from returns.models import Colourway, Component, ProductionBatch

# Share of a month's sold units that come back, by whole months since the sale.
HAZARD_PPM = (0, 9_000, 26_000, 38_000, 46_000, 50_000, 52_000, 53_000)

_TROUBLES: dict[tuple[str, str], int] = {
    ("arm", "snapped"): 17,
    ("arm", "stripped_hole"): 15,
    ("arm", "cracked_pivot"): 11,
    ("arm", "warped"): 7,
    ("arm", "hole_offset"): 3,
    ("front", "snapped"): 15,
    ("front", "cracked_pivot"): 13,
    ("front", "cracked"): 8,
    ("front", "scuffed"): 6,
    ("front", "groove_worn"): 5,
    ("front", "warped"): 3,
    ("screw", "missing"): 6,
    ("screw", "snapped"): 4,
}
_MEASURED_UM = {"hole_offset": (60, 240), "stripped_hole": (1_050, 1_500)}
_SECOND_TROUBLE = 0.18


@dataclass(frozen=True, slots=True)
class Broken:
    """A sold frame that failed: what is wrong with it, and what it weighs."""

    colourway: Colourway
    batch: ProductionBatch
    findings: tuple[Seen, ...]
    mass_mg: int


def broken(random: Random, batch: ProductionBatch, bill: list[Component]) -> Broken:
    """Draw a failed frame of a batch."""
    findings = [_trouble(random)]
    if random.random() < _SECOND_TROUBLE:
        other = _trouble(random)
        if other.component != findings[0].component:
            findings.append(other)
    lost = {one.component for one in findings if one.defect == "missing"}
    mass_mg = sum(
        max(1, round(random.gauss(piece.nominal_mg, piece.spread_mg)))
        for piece in bill
        if piece.key not in lost
    )
    return Broken(batch.colourway, batch, tuple(findings), mass_mg)


def _trouble(random: Random) -> Seen:
    kind, defect = random.choices(list(_TROUBLES), weights=list(_TROUBLES.values()))[0]
    component = kind if kind == "front" else f"{kind}_{random.choice(('left', 'right'))}"
    span = _MEASURED_UM.get(defect)
    return Seen(component, defect, random.randint(*span) if span else None)
