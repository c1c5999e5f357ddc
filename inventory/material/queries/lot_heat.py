"""Where the heat passes of a lot come from, and which batches took of it. Reads only."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.material.queries import boxes
from inventory.material.sums.heat import HeatSpread
from inventory.models import GrindRun, Lot, Posting


@dataclass(frozen=True, slots=True)
class Share:
    """A part of the material: where it came from or went to, its mass, its heat passes if known."""

    code: str
    mass_mg: int
    heat: HeatSpread | None
    posting: Posting


@dataclass(frozen=True, slots=True)
class LotHeat:
    """A lot's spread, the run that made it, and what production batches took of it."""

    lot: Lot
    spread: HeatSpread
    held_mg: int
    run: GrindRun | None
    batches: tuple[Share, ...]


def of(lot: Lot) -> LotHeat:
    """Return a lot's heat passes. Grinding adds none, so it has the spread of its box."""
    place = getattr(lot, "place", None)
    spread = HeatSpread.from_list(lot.heat)
    rows = Posting.objects.filter(
        source=place,
        movement__kind="issue",
        movement__reverses=None,
        movement__reversed_by=None,
    )
    # Bounded, because a page lists them all: two hundred batches say enough about one lot.
    taken = rows.select_related("movement").order_by("movement__number", "line")[:200]
    return LotHeat(
        lot=lot,
        spread=spread,
        held_mg=boxes.held_mg(place) if place is not None else 0,
        run=GrindRun.objects.filter(lot=lot).select_related("box").first(),
        batches=tuple(
            Share(posting.movement.subject, posting.quantity, spread, posting) for posting in taken
        ),
    )
