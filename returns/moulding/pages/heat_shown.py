"""The heat history of a lot or a batch: its spread as a table, and where it comes from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from inventory.errors import NotFound
from inventory.furniture.pages.access import StaffRequest, allow
from inventory.material.queries import lot_heat
from inventory.material.queries.lot_heat import Share
from inventory.material.sums.heat import HeatSpread
from inventory.models import Lot, RecipeCard
from inventory.months.queries import replays
from inventory.staff.queries import ACCOUNTANT, BENCH, OWNER
from inventory.weighing.queries import traced
from inventory.weighing.sums.traced import MassUncertainty
from returns.models import ProductionBatch
from returns.moulding import queries as batch_heat

CODE_LENGTH_MAX = 20


@require_safe
@allow(BENCH, OWNER, ACCOUNTANT)
def page(request: StaffRequest, code: str) -> HttpResponse:
    """Show the heat of the lot with this code, else of the batch."""
    # PostgreSQL refuses a NUL in a text with an error; SQLite looks it up.
    if len(code) > CODE_LENGTH_MAX or "\x00" in code:
        raise NotFound()
    lot = Lot.objects.filter(code=code).select_related("polymer", "colour", "place").first()
    facts = _lot(lot) if lot is not None else _batch(code)
    return render(request, "returns/workroom/heat.html", facts)


def spread_rows(spread: HeatSpread) -> list[dict[str, int]]:
    """Return a row per number of passes, with the share that has had at least so many."""
    return [
        {"passes": passes, "ppm": ppm, "at_least_ppm": spread.share_at_least(passes)}
        for passes, ppm in spread.shares
    ]


def _lot(lot: Lot) -> dict[str, Any]:
    found, place = lot_heat.of(lot), getattr(lot, "place", None)
    return {
        "code": lot.code,
        "lot": lot,
        "found": found,
        "shares": _shares(found.batches),
        "known": traced.of_place(place) if place is not None else None,
        "spread": found.spread,
        "rows": spread_rows(found.spread),
    }


def _batch(code: str) -> dict[str, Any]:
    rows = ProductionBatch.objects.select_related("colourway__model", "colourway__colour")
    batch = rows.filter(code=code).first()
    if batch is None:
        raise NotFound()
    found = batch_heat.of(batch)
    return {
        "code": batch.code,
        "batch": batch,
        # What it was weighed by, when it was: recipe, lots and what it was wanted for.
        "cards": RecipeCard.objects.filter(batch_code=batch.code).select_related("blend"),
        "found": found,
        "shares": _shares(found.lots),
        "spread": found.spread,
        "rows": spread_rows(found.spread),
    }


def _shares(shares: Sequence[Share]) -> list[tuple[Share, MassUncertainty | None]]:
    """Pair what was issued with its uncertainty; None where its month does not state it."""
    # By month, for each month's replay is made once for all of its postings.
    moved = replays.moved(share.posting.movement.month for share in shares)
    masses = (moved.get((one.posting.movement.number, one.posting.line)) for one in shares)
    known = [None if mass is None else mass.known() for mass in masses]
    return list(zip(shares, known, strict=True))
