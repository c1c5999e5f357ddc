"""The frames that a request names, each with what was said of it. Reads.

The first stands in the request itself and the further ones in rows of their own; who asks here
sees them alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _

from returns.models import Colourway, FurtherFrame, Request, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.models.filing import Wish
from returns.models.remedies import DefectKey
from returns.story.sums.states import FrameState


@dataclass(frozen=True, slots=True)
class FiledFrame:
    """One frame as its customer filed it; `number` counts from 1 within the request.

    `troubles` are pairs of a component and a defect, the first one first.
    """

    number: int
    colourway: Colourway | None
    note: str
    wish: str
    lenses_back: bool
    troubles: tuple[tuple[str, str], ...]

    @property
    def component(self) -> str:
        """The part that was named first."""
        return self.troubles[0][0]

    @property
    def defect(self) -> str:
        """What was said to be wrong with it."""
        return self.troubles[0][1]

    @property
    def words(self) -> str:
        """The model and colour, or that they are not known."""
        return str(self.colourway) if self.colourway else _("model not known")

    @property
    def trouble_words(self) -> list[str]:
        """Each trouble with its part, in the bench's words."""
        return [
            f"{ComponentKey(component).label}: {DefectKey(defect).label}"
            for component, defect in self.troubles
        ]

    @property
    def wish_words(self) -> str:
        """What we may do if it cannot be mended."""
        return str(Wish(self.wish).label) if self.wish else ""


def of(request: Request) -> list[FiledFrame]:
    """Return the frames of a request in the order in which they were filed."""
    troubles: dict[int, list[tuple[str, str]]] = {}
    for trouble in request.troubles.all():
        troubles.setdefault(trouble.number, []).append((trouble.component, trouble.defect))
    rows: list[tuple[int, Request | FurtherFrame]] = [(1, request)]
    further = request.further_frames.select_related("colourway__model", "colourway__colour")
    rows += [(row.number, row) for row in further]
    return [_filed(number, row, troubles.get(number, [])) for number, row in rows]


def _filed(number: int, row: Request | FurtherFrame, more: Sequence[tuple[str, str]]) -> FiledFrame:
    return FiledFrame(
        number=number,
        colourway=row.colourway,
        note=row.note,
        wish=row.wish,
        lenses_back=row.lenses_back,
        troubles=((row.component, row.defect), *more),
    )


def of_returned(frame: ReturnedFrame) -> FiledFrame | None:
    """Return what its customer said of a frame that is here; None while it has no request."""
    if frame.request is None:
        return None
    return next((one for one in of(frame.request) if one.number == (frame.number or 1)), None)


def still_to_come(request: Request, *, filed: Sequence[FiledFrame]) -> list[FiledFrame]:
    """Return those of `filed` that have not been weighed in."""
    live = request.frames.exclude(state=FrameState.VOIDED)
    # What came before requests could name several has no number: it is the first.
    here = {number or 1 for number in live.values_list("number", flat=True)}
    return [one for one in filed if one.number not in here]


def fitting(
    request: Request, *, filed: Sequence[FiledFrame], colourway: Colourway | None
) -> list[FiledFrame]:
    """Return which of the filed frames one on the scale may be: those not here yet go first, and
    of them those of its colourway, then those whose model was not known, then any.
    """
    waiting = still_to_come(request, filed=filed) or list(filed)
    same = [one for one in waiting if one.colourway == colourway]
    return same or [one for one in waiting if one.colourway is None] or waiting
