"""Spare kits: what is in one, which wait, which are to be posted or missing. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from django.db.models import QuerySet

from inventory.masters import queries as masters
from inventory.models import Part, Workshop
from returns.catalogue import queries as catalogue
from returns.models import Colourway, Component, FrameModel, Request
from returns.story.sums.states import RequestState

if TYPE_CHECKING:
    pass


# So long after its posting nobody reports a thing missing by themselves any more.
SETTLED_AFTER = timedelta(days=45)


def contents(model: FrameModel) -> dict[Part, int]:
    """Return the pieces of each part in a model's spare kit, from its bill of materials."""
    return _counted(model.components.select_related("part"))


def contents_for(colourway: Colourway) -> dict[Part, int]:
    """Return the pieces of each part in a colourway's kit, its own parts among them."""
    return _counted(made.piece for made in catalogue.bill_of(colourway).values())


def _counted(bill: Iterable[Component]) -> dict[Part, int]:
    pieces: dict[Part, int] = {}
    for component in bill:
        if component.in_kit and component.part is not None:
            # Both hinges take the same screw, each with a line of the bill of its own.
            pieces[component.part] = pieces.get(component.part, 0) + 1
    return pieces


def has_kit(model: FrameModel) -> bool:
    """Tell whether the workshop posts spare screws for a model."""
    return model.components.filter(in_kit=True, part__isnull=False).exists()


def waiting() -> QuerySet[Request]:
    """Return the requests that wait for stock, the oldest first."""
    return _in_state(RequestState.WAITING_STOCK)


def to_post() -> QuerySet[Request]:
    """Return requests whose kit is promised from stock and may be posted, the oldest first."""
    return _in_state(RequestState.RESERVED)


def missing() -> QuerySet[Request]:
    """Return the requests whose kit was reported as never arrived, the oldest first."""
    return _in_state(RequestState.REPORTED_MISSING)


def _in_state(state: RequestState) -> QuerySet[Request]:
    rows = Request.objects.filter(kind=Request.Kind.SCREWS, state=state.value)
    return rows.select_related("person", "colourway__model", "colourway__colour").order_by(
        "filed_at"
    )


def promise_day(at: datetime) -> date:
    """Return the day to post a kit by that is filed or reserved now, in the workshop's zone."""
    workshop = Workshop.the()
    return masters.promised_day(workshop, at, workshop.kit_promise_days)


def long_posted(posted_at: datetime | None, at: datetime) -> bool:
    """Tell whether it was posted so long ago that its story is over."""
    return posted_at is not None and posted_at <= at - SETTLED_AFTER
