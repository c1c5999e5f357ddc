"""Today at the bench: what waits at each step, the oldest promise first. Reads only.

The cost does not grow with the workshop: a fixed number of queries, one page of rows.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, QuerySet

from inventory.models import Duty, GrindRun
from returns.models import Grading, Parcel, Request, ReturnedFrame
from returns.sums.states import FrameState, RequestState

PAGE_SIZE: Final = 50
OPEN_RUNS: Final = (GrindRun.State.PROPOSED, GrindRun.State.CONFIRMED, GrindRun.State.HELD)
FRAME_STEPS: Final[dict[str, FrameState]] = {
    "look": FrameState.WEIGHED,
    "held": FrameState.HELD,
    "mend": FrameState.TO_MEND,
    "mending": FrameState.MENDING,
    "post": FrameState.MENDED,
    "strip": FrameState.TO_STRIP,
    "return": FrameState.TO_RETURN,
    "boxed": FrameState.BOXED,
}
# Boxed frames wait for nobody; they show under their own step only.
WAITING: Final = tuple(state for state in FRAME_STEPS.values() if state != FrameState.BOXED)
STEPS: Final = ("parcels", *FRAME_STEPS, "kits", "runs", "duties")
ALL: Final = "all"


@dataclass(frozen=True, slots=True)
class Queue:
    """One page of one step. `counts` holds every step's number, `why` a held frame's grading."""

    step: str
    counts: dict[str, int]
    page: Page[Any]
    why: dict[int, Grading]


def today(*, step: str, page: int) -> Queue:
    """The counts of every step, and one page of the chosen one; an unknown step means all frames.

    A page number beyond the end gives the last page.
    """
    counts = step_counts()
    chosen = step if step in STEPS else ALL
    rows = _rows(chosen)
    total = counts[chosen] if chosen in counts else sum(counts[s] for s in _waiting_steps())
    paginator = _Counted(rows, PAGE_SIZE, total)
    shown = paginator.get_page(page)
    return Queue(chosen, counts, shown, _why(shown) if chosen in (ALL, "held") else {})


def step_counts() -> dict[str, int]:
    """How many wait at each step."""
    frames = dict(
        ReturnedFrame.objects.filter(state__in=FRAME_STEPS.values())
        .order_by()
        .values_list("state")
        .annotate(total=Count("pk"))
    )
    counts = {step: frames.get(state.value, 0) for step, state in FRAME_STEPS.items()}
    return counts | {
        "parcels": _parcels().count(),
        "kits": _kits().count(),
        "runs": _runs().count(),
        "duties": _duties().count(),
    }


def _waiting_steps() -> list[str]:
    return [step for step, state in FRAME_STEPS.items() if state in WAITING]


class _Counted(Paginator):  # type: ignore[type-arg]
    """A paginator that was told how many there are, so that it need not ask again."""

    def __init__(self, rows: QuerySet[Any], per_page: int, total: int) -> None:
        super().__init__(rows, per_page)
        self.count = total


def _rows(step: str) -> QuerySet[Any]:
    if step in FRAME_STEPS:
        return _frames().filter(state=FRAME_STEPS[step])
    other: dict[str, Callable[[], QuerySet[Any]]] = {
        "parcels": _parcels,
        "kits": _kits,
        "runs": _runs,
        "duties": _duties,
    }
    return other[step]() if step in other else _frames().filter(state__in=WAITING)


def _frames() -> QuerySet[ReturnedFrame]:
    rows = ReturnedFrame.objects.select_related("request", "colourway__model", "colourway__colour")
    return rows.order_by("promised_by", "tag")


def _parcels() -> QuerySet[Parcel]:
    return Parcel.objects.filter(done_at=None).select_related("request").order_by("arrived_at")


def _kits() -> QuerySet[Request]:
    rows = Request.objects.filter(kind=Request.Kind.SCREWS, state=RequestState.RESERVED)
    rows = rows.select_related("colourway__model", "colourway__colour")
    return rows.order_by(F("promised_by").asc(nulls_last=True), "filed_at")


def _runs() -> QuerySet[GrindRun]:
    return (
        GrindRun.objects.filter(state__in=OPEN_RUNS).select_related("box").order_by("proposed_at")
    )


def _duties() -> QuerySet[Duty]:
    return Duty.objects.exclude(given_up_at=None).filter(settled_at=None).order_by("given_up_at")


def _why(page: Page[Any]) -> dict[int, Grading]:
    """The latest grading of each held frame on this page."""
    held = [frame.pk for frame in page if frame.state == FrameState.HELD]
    if not held:
        return {}
    gradings = Grading.objects.filter(frame__in=held).order_by("at", "pk")
    return {grading.frame_id: grading for grading in gradings}
