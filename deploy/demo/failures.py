"""A sold frame that broke: what is wrong with it when it comes back, and what it weighs."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from random import Random

from deploy.demo.lives import CAUSES, Cause
from returns.grading.queries.facts import Seen
from returns.models import Component, ProductionBatch

_MEASURED_UM = {"hole_offset": (60, 240), "stripped_hole": (1_050, 1_500)}
_BOTH_ARMS = 0.35
_SECOND_TROUBLE = 0.14
_SIDES = ("left", "right")


@dataclass(frozen=True, slots=True)
class Broken:
    """A frame on its way to the workshop. `masses` holds the true mg of each piece that came."""

    batch: ProductionBatch
    findings: tuple[Seen, ...]
    masses: Mapping[str, int]

    @property
    def mass_mg(self) -> int:
        return sum(self.masses.values())

    def mass_of_mg(self, kinds: Mapping[str, str], *wanted: str) -> int:
        """Return the true mg of the pieces of some kinds; `kinds` has the kind of each piece."""
        return sum(mass for key, mass in self.masses.items() if kinds[key] in wanted)


def broken(
    random: Random, batch: ProductionBatch, bill: list[Component], cause: Cause | None = None
) -> Broken:
    """Draw a failed frame of a batch; the cause comes first among its findings."""
    findings = [_seen(random, cause or random.choice(CAUSES), random.choice(_SIDES))]
    findings += _further(random, findings[0])
    lost = {one.component for one in findings if one.defect == "missing"}
    masses = {
        # Half of the spread that the bill admits: a workshop states its tolerance with room to
        # spare.
        piece.key: max(1, round(random.gauss(piece.nominal_mg, piece.spread_mg / 2)))
        for piece in bill
        if piece.key not in lost
    }
    return Broken(batch, tuple(findings), masses)


def _further(random: Random, first: Seen) -> list[Seen]:
    """Draw a second trouble: who sits on a frame may snap both arms, others meet by chance."""
    if first.component.startswith("arm_") and first.defect == "snapped":
        if random.random() < _BOTH_ARMS:
            other = "arm_right" if first.component == "arm_left" else "arm_left"
            return [Seen(other, "snapped")]
        return []
    if random.random() >= _SECOND_TROUBLE:
        return []
    second = _seen(random, random.choice(CAUSES), random.choice(_SIDES))
    return [] if second.component == first.component else [second]


def _seen(random: Random, cause: Cause, side: str) -> Seen:
    component = cause.component if cause.component == "front" else f"{cause.component}_{side}"
    span = _MEASURED_UM.get(cause.defect)
    return Seen(component, cause.defect, random.randint(*span) if span else None)
