"""The owner's first page, by the four questions, and the downloads of its tables."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from inventory.furniture.pages.access import allow
from inventory.staff.queries import OWNER
from returns.catalogue.pages import lists
from returns.desk.pages import notes as due
from returns.desk.queries.owner_today import late_frames
from returns.figures.circularity.pages import answers, pictures, tables, tiles
from returns.figures.circularity.pages.tables import Table
from returns.figures.circularity.pages.tiles import Tile
from returns.figures.circularity.queries.circularity import Circularity, circularity
from returns.figures.circularity.queries.grind_yields import grind_yields
from returns.figures.circularity.queries.headline import headline, headline_before
from returns.figures.circularity.queries.indicators import by_model, indicators
from returns.figures.circularity.queries.material_flow import material_flow
from returns.figures.circularity.queries.reasons import reasons
from returns.figures.circularity.queries.turnaround import (
    MonthRow,
    by_month,
    from_first_sale,
    turnaround,
)
from returns.figures.claims.queries import claims_sheet
from returns.figures.span.pages import Selection, chosen
from returns.figures.span.queries import Scope


@allow(OWNER)
def page(request: HttpRequest) -> HttpResponse:
    """Show promise, returns, reasons, circularity and what may be said, for the chosen months."""
    selection = chosen(request, at=timezone.now())
    facts: dict[str, Any] = {"selection": selection, "form": selection.form, "wide": True}
    if selection.is_good:
        found = circularity(selection.span, selection.scope)
        facts |= {
            "found": found,
            "tiles": _tiles(selection, found),
            "due": due(timezone.now()),
            "promise": _promise(selection),
            "back": _back(selection, found),
            "loop": _loop(selection, found),
            "say": _say(found),
        }
    status = 200 if selection.is_good else 400
    return render(request, "returns/owner/circularity.html", facts, status=status)


@allow(OWNER)
def download(request: HttpRequest, name: str) -> HttpResponse:
    """Send one table of the page as CSV."""
    make = _DOWNLOADS.get(name)
    if make is None:
        raise Http404
    selection = chosen(request, at=timezone.now())
    if not selection.is_good:
        facts = {"selection": selection, "form": selection.form, "wide": True}
        return render(request, "returns/owner/circularity.html", facts, status=400)
    first, last = selection.span.labels
    return lists.download(f"{name}-{first}-{last}.csv", make(selection).csv())


def _circularity(selection: Selection) -> Circularity:
    return circularity(selection.span, selection.scope)


def _months(selection: Selection) -> tuple[MonthRow, ...]:
    return from_first_sale(by_month(selection.span, selection.scope), selection.scope)


def _flow(selection: Selection, side: str) -> Table:
    found = indicators(selection.span, selection.scope, _circularity(selection))
    return tables.flow(side, "", getattr(found, side))


# Only the table asked for is computed. A key is part of an address and of a file name: it never
# changes.
_DOWNLOADS: dict[str, Callable[[Selection], Table]] = {
    "figures": lambda s: tables.figures(_circularity(s)),
    "returns": lambda s: tables.returns(_months(s)),
    "losses": lambda s: tables.losses(_circularity(s)),
    "content": lambda s: tables.content(_circularity(s)),
    "reasons": lambda s: tables.reasons(reasons(s.span, s.scope)),
    "turnaround": lambda s: tables.turnaround(turnaround(s.span, s.scope)),
    "inflow": lambda s: _flow(s, "inflow"),
    "outflow": lambda s: _flow(s, "outflow"),
    "streams": lambda s: tables.streams(material_flow(s.span), pictures.place_names()),
    "yields": lambda s: tables.yields(grind_yields(s.span)),
    # Models share the workshop's yield, so they are made from its figures whatever scope was
    # chosen.
    "models": lambda s: tables.models(by_model(s.span, circularity(s.span, Scope()))),
}


def _tiles(selection: Selection, found: Circularity) -> list[Tile]:
    span, scope = selection.span, selection.scope
    late = late_frames(scope, timezone.now()).count()
    return tiles.tiles(headline(span, scope, found), headline_before(span, scope), late)


def _promise(selection: Selection) -> dict[str, Any]:
    days = turnaround(selection.span, selection.scope)
    late = late_frames(selection.scope, timezone.now()).count()
    return {
        "answer": answers.promise(days),
        "late": answers.late(late),
        "days": days,
        "picture": pictures.turnaround(days),
    }


def _back(selection: Selection, found: Circularity) -> dict[str, Any]:
    why = reasons(selection.span, selection.scope)
    return {
        "answer": answers.coming_back(found),
        "reason": answers.reason(why),
        "asides": answers.of_returns(found),
        "picture": pictures.months(_months(selection)),
        "reasons": tables.reasons(why),
        "heat": tables.shades(why),
    }


def _loop(selection: Selection, found: Circularity) -> dict[str, Any]:
    more = indicators(selection.span, selection.scope, found)
    runs = grind_yields(selection.span)
    is_whole = selection.scope.is_whole
    return {
        "answer": answers.circular(found),
        "asides": answers.of_circularity(found, more, runs),
        "material": pictures.material(material_flow(selection.span)),
        # The table of all models stands on the figures of the whole workshop only.
        "models": tables.models(by_model(selection.span, found)) if is_whole else None,
        "pictures": [pictures.yields(runs), pictures.losses(found)],
        "content": tables.content(found),
        "scrap_back": answers.scrap_back(found),
        "flows": pictures.flows(more),
    }


def _say(found: Circularity) -> dict[str, Any]:
    lines = claims_sheet.sheet(found)
    return {
        "answer": answers.may_say(lines),
        "lines": [line for line in lines if line.may_be_published],
    }
