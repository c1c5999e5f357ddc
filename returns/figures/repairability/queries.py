"""How easy each model is to repair, from the owner's scores and the bill of materials. Reads only.

Part weights and aspect weights are equal, as the workshop's own choice. The score for spare parts
is not typed: it follows from the bill. A model whose scores are incomplete has no profile.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from inventory.ledger.sums.shares import apportion
from returns.figures.repairability.sums import (
    Aspect,
    PartScores,
    Profile,
    disassembly_depth_score,
    profile,
)
from returns.models import Component, FrameModel, RepairScores
from returns.models.catalogue import ComponentKind

ASPECTS = (
    Aspect.DISASSEMBLY_DEPTH,
    Aspect.FASTENERS,
    Aspect.TOOLS,
    Aspect.SPARE_PARTS,
    Aspect.REPAIR_INFORMATION,
)
IN_KIT, STOCKED, NO_PART = 5, 3, 1
_WHOLE = 10_000


@dataclass(frozen=True, slots=True)
class ModelProfile:
    """One model's profile, or the kinds of component whose scores are missing."""

    model: FrameModel
    profile: Profile | None
    scores: tuple[PartScores, ...]
    missing: tuple[str, ...]


def profiles() -> list[ModelProfile]:
    """Return the profile of every model that is still served, by name of the model."""
    rows = FrameModel.objects.filter(active=True).order_by("name")
    # `of_model` reads these relations with `all()` only: a filter there would ask anew for each
    # model.
    return [of_model(model) for model in rows.prefetch_related("components", "repair_scores")]


def of_model(model: FrameModel) -> ModelProfile:
    """Return the profile over every kind of component in the bill of one model."""
    bill: dict[str, list[Component]] = {}
    for component in model.components.all():
        bill.setdefault(component.kind, []).append(component)
    data = {row.kind: row for row in model.repair_scores.all()}
    # In the order of the trade's list, so that weights and rows of the page do not depend on the
    # bill's.
    kinds = [kind for kind in ComponentKind.values if kind in bill]
    missing = tuple(str(ComponentKind(kind).label) for kind in kinds if kind not in data)
    if missing or not kinds:
        return ModelProfile(model, None, (), missing)
    weights = equal(len(kinds))
    scores = tuple(
        PartScores(kind, weight, _scores(data[kind], bill[kind]))
        for kind, weight in zip(kinds, weights, strict=True)
    )
    aspect_weights = dict(zip(ASPECTS, equal(len(ASPECTS)), strict=True))
    return ModelProfile(model, profile(scores, aspect_weights), scores, ())


def equal(count: int) -> tuple[Decimal, ...]:
    """Return equal weights, to the ten-thousandth, that add up to 1 exactly."""
    # A third three times is not 1 in decimals. Apportioned ten-thousandths add up to it exactly,
    # which `profile` insists on.
    return tuple(Decimal(part) / _WHOLE for part in apportion(_WHOLE, [1] * count))


def _scores(row: RepairScores, components: Sequence[Component]) -> dict[Aspect, int]:
    return {
        Aspect.DISASSEMBLY_DEPTH: disassembly_depth_score(row.steps),
        Aspect.FASTENERS: row.fasteners,
        Aspect.TOOLS: row.tools,
        # The component that is hardest to come by decides: a frame is mended when all of it is.
        Aspect.SPARE_PARTS: min(_spare_part(component) for component in components),
        Aspect.REPAIR_INFORMATION: row.information,
    }


def _spare_part(component: Component) -> int:
    """Score whether a component is in the spare kit, in our own stock, or not to be had."""
    if component.in_kit:
        return IN_KIT
    return STOCKED if component.part_id else NO_PART
