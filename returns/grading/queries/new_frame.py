"""What a new frame costs: measured where enough batches tell, else as typed. Reads only."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from django.db.models import Q

from inventory.models import PlaceKind, Posting, Spoiled, Step, Workshop
from returns.catalogue import queries as catalogue
from returns.grading.sums import new_frame as sums
from returns.grading.sums.new_frame import MadeBatch, NewFrame, UnitPrices
from returns.models import Colourway, Policy, ProductionBatch

# Own choice: the newest batches tell what a frame costs now, older ones what it did.
BATCHES_MAX = 20


@dataclass(frozen=True, slots=True)
class Cost:
    """The cost that grading weighs, in minor units. `measured` is None where it is the typed one;
    `batches` is how many could be counted, `needed` from how many on they count (0: never)."""

    minor: int
    typed_minor: int
    measured: NewFrame | None
    batches: int
    needed: int


def of(colourway: Colourway, *, material_minor_per_kg: int, policy: Policy) -> Cost:
    """Return what a new frame of a colourway costs. A material price in minor units per kg."""
    typed_minor, needed = colourway.model.new_frame_cost_minor, policy.new_frame_batches
    batches = _batches(colourway) if needed else []
    found = None
    if batches and len(batches) >= needed:
        prices = UnitPrices(
            material_minor_per_kg=material_minor_per_kg,
            labour_minor_per_hour=Workshop.the().labour_minor_per_hour,
            parts_minor=_parts_minor(colourway),
            overhead_minor=policy.new_frame_overhead_minor,
        )
        found = sums.measured(_made(batches), prices)
    minor = found.cost_minor if found else typed_minor
    return Cost(minor, typed_minor, found, len(batches), needed)


def _batches(colourway: Colourway) -> list[ProductionBatch]:
    """Return the newest batches of the model whose flake and whose minutes are both known."""
    rows = ProductionBatch.objects.filter(
        colourway__model=colourway.model_id, work_minutes__isnull=False, issued_mg__gte=1
    )
    return list(rows.order_by("-made_on", "-pk")[:BATCHES_MAX])


def _parts_minor(colourway: Colourway) -> int:
    """Return what the parts that are bought cost in one frame: all but what is moulded here."""
    bill = catalogue.bill_of(colourway).values()
    bought = [made.piece.part for made in bill if made.material is None and made.piece.part]
    return sum(part.price_minor for part in bought)


def _made(batches: Sequence[ProductionBatch]) -> list[MadeBatch]:
    codes = [batch.code for batch in batches]
    back_mg, lost = _back_mg(codes), _lost(codes)
    return [
        MadeBatch(
            good=max(0, batch.pieces - lost[batch.code]),
            material_mg=max(0, batch.issued_mg - back_mg[batch.code]),
            minutes=batch.work_minutes or 0,
        )
        for batch in batches
    ]


def _back_mg(codes: Sequence[str]) -> Counter[str]:
    """Return by batch the mg that came back from moulding into a box, to be ground again."""
    # Spoiled pairs name their batch as the subject, sprues in the reason.
    named = Q(movement__subject__in=codes) | Q(movement__reason__in=codes)
    rows = Posting.objects.filter(
        named,
        movement__kind="return_scrap",
        movement__reverses=None,
        movement__reversed_by=None,
        target__kind=PlaceKind.BOX,
    )
    found: Counter[str] = Counter()
    told = rows.order_by().values_list("movement__subject", "movement__reason", "quantity")
    for subject, reason, quantity in told:
        found[subject if subject in codes else reason] += quantity
    return found


def _lost(codes: Sequence[str]) -> Counter[str]:
    """Return by batch the pairs that were spoiled after the press: `pieces` is good out of it."""
    rows = Spoiled.objects.filter(batch_code__in=codes, posting__movement__reversed_by=None)
    found: Counter[str] = Counter()
    for code, pieces in rows.exclude(step=Step.MOULDING).values_list("batch_code", "pieces"):
        found[code] += pieces
    return found
