"""Today at the bench: what waits at each step, the oldest promise first. Reads only.

The cost does not grow with the workshop: a fixed number of queries, one page of rows.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, Q, QuerySet, Value
from django.db.models.functions import Replace

from inventory.models import GrindRun, OutboxMessage
from returns.asking import queries as asking
from returns.filing.queries import waiting
from returns.models import Grading, Parcel, Request, ReturnedFrame
from returns.story.sums.states import FrameState, RequestState

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
# What we promised is done for a boxed frame: its customer knows that it is taken apart, and no
# hand can hurry the box. They show under their own step only, without the day that was promised.
WAITING: Final = tuple(state for state in FRAME_STEPS.values() if state != FrameState.BOXED)
STEPS: Final = ("underway", "parcels", "asked", *FRAME_STEPS, "kits", "runs", "messages")
ALL: Final = "all"
# Steps that stand under one heading, as one list.
GROUPS: Final[dict[str, tuple[str, ...]]] = {"at-mend": ("mend", "mending")}
_NO_CODE: Final = re.compile(r"[^0-9A-Za-z]")


@dataclass(frozen=True, slots=True)
class Queue:
    """One page of one step. `counts` holds every step's number, `why` a held frame's grading."""

    step: str
    counts: dict[str, int]
    page: Page[Any]
    why: dict[int, Grading]

    @property
    def waiting(self) -> int:
        """How many frames wait, over all steps."""
        return sum(self.counts[step] for step in _waiting_steps())


@dataclass(frozen=True, slots=True, kw_only=True)
class Only:
    """Which frames of a step are looked for: of a model, of a colour, with a piece of a code."""

    model: str = ""
    colour: str = ""
    piece: str = ""

    def __bool__(self) -> bool:
        return bool(self.model or self.colour or self.piece)

    def among(self, rows: QuerySet[Any]) -> QuerySet[Any]:
        """Return the rows that fit. Dashes and spaces in a piece of a code do not count."""
        if self.model:
            rows = rows.filter(colourway__model__code=self.model)
        if self.colour:
            rows = rows.filter(colourway__colour__code=self.colour)
        if not self.piece:
            return rows
        dash, nothing = Value("-"), Value("")
        # `alias` and not `annotate`: the text without dashes is compared and never fetched.
        rows = rows.alias(
            own=Replace("tag", dash, nothing), slip=Replace("request__reference", dash, nothing)
        )
        bare = _NO_CODE.sub("", self.piece)
        return rows.filter(Q(own__icontains=bare) | Q(slip__icontains=bare))


def today(*, step: str, page: int, only: Only | None = None) -> Queue:
    """Return every step's count and a page of the chosen one; an unknown step means all frames.

    `only` narrows the steps of frames. A page number beyond the end gives the last page.
    """
    counts = step_counts()
    chosen = step if step in (*STEPS, *GROUPS) else ALL
    rows = _rows(chosen)
    total = sum(
        counts[one] for one in GROUPS.get(chosen, (chosen,) if chosen != ALL else _waiting_steps())
    )
    if only and is_of_frames(chosen):
        rows = only.among(rows)
        total = rows.count()
    paginator = _Counted(rows, PAGE_SIZE, total)
    shown = paginator.get_page(page)
    return Queue(chosen, counts, shown, _why(shown) if chosen in (ALL, "held") else {})


def is_of_frames(step: str) -> bool:
    """Tell whether a step's rows are frames."""
    return step in (ALL, "asked") or step in FRAME_STEPS or step in GROUPS


def tab_counts() -> dict[str, int]:
    """Count what a tab of the bench may add up, in one question."""
    frames = ReturnedFrame.objects.filter(state__in=FRAME_STEPS.values()).order_by()
    by_state = frames.values_list("state").annotate(total=Count("pk"))
    others = [
        rows.order_by().annotate(name=Value(step)).values_list("name").annotate(total=Count("pk"))
        for step, rows in (("parcels", _parcels()), ("kits", _kits()), ("runs", _runs()))
    ]
    found: dict[str, int] = dict(by_state.union(*others, all=True))
    steps = {state.value: step for step, state in FRAME_STEPS.items()}
    return {steps.get(name) or name: total for name, total in found.items()}


def step_counts() -> dict[str, int]:
    """Count what waits at each step."""
    # One grouped count for all steps of frames, not one question for each.
    frames = dict(
        ReturnedFrame.objects.filter(state__in=FRAME_STEPS.values())
        .order_by()
        .values_list("state")
        .annotate(total=Count("pk"))
    )
    counts = {step: frames.get(state.value, 0) for step, state in FRAME_STEPS.items()}
    return counts | {
        "underway": waiting.under_way().count(),
        "parcels": _parcels().count(),
        "asked": _asked().count(),
        "kits": _kits().count(),
        "runs": _runs().count(),
        "messages": _failed_messages().count(),
    }


def _waiting_steps() -> list[str]:
    return [step for step, state in FRAME_STEPS.items() if state in WAITING]


class _Counted(Paginator):  # type: ignore[type-arg]
    """A paginator that is given how many there are, so that it need not ask again."""

    def __init__(self, rows: QuerySet[Any], per_page: int, total: int) -> None:
        super().__init__(rows, per_page)
        # Set on the instance, which hides the cached property that would ask the database.
        self.count = total


def _rows(step: str) -> QuerySet[Any]:
    if step in GROUPS:
        return _frames().filter(state__in=[FRAME_STEPS[one] for one in GROUPS[step]])
    if step in FRAME_STEPS:
        return _frames().filter(state=FRAME_STEPS[step])
    other: dict[str, Callable[[], QuerySet[Any]]] = {
        "underway": _under_way,
        "parcels": _parcels,
        "asked": _asked,
        "kits": _kits,
        "runs": _runs,
        "messages": _failed_messages,
    }
    return other[step]() if step in other else _frames().filter(state__in=WAITING)


def _frames() -> QuerySet[ReturnedFrame]:
    rows = ReturnedFrame.objects.select_related(
        "request", "colourway__model", "colourway__colour", "box__polymer", "box__colour"
    )
    return asking.marked(rows).order_by("promised_by", "tag")


def _asked() -> QuerySet[ReturnedFrame]:
    """Frames that wait for their customer's answer, those asked first before the others."""
    return asking.waiting(_frames()).order_by(F("asked_on"), "tag")


def _under_way() -> QuerySet[Request]:
    return waiting.under_way().select_related("colourway__model", "colourway__colour")


def _parcels() -> QuerySet[Parcel]:
    return Parcel.objects.filter(done_at=None).select_related("request").order_by("arrived_at")


def _kits() -> QuerySet[Request]:
    rows = Request.objects.filter(kind=Request.Kind.SCREWS, state=RequestState.RESERVED)
    rows = rows.select_related("colourway__model", "colourway__colour")
    # Said outright: left alone, SQLite puts what has no day first and PostgreSQL puts it last.
    return rows.order_by(F("promised_by").asc(nulls_last=True), "filed_at")


def _runs() -> QuerySet[GrindRun]:
    rows = GrindRun.objects.filter(state__in=OPEN_RUNS).order_by("proposed_at")
    return rows.select_related("box__polymer", "box__colour")


def _failed_messages() -> QuerySet[OutboxMessage]:
    return (
        OutboxMessage.objects.exclude(given_up_at=None)
        .filter(settled_at=None)
        .order_by("given_up_at")
    )


def _why(page: Page[Any]) -> dict[int, Grading]:
    """Return the latest grading of each held frame on this page."""
    held = [frame.pk for frame in page if frame.state == FrameState.HELD]
    if not held:
        return {}
    gradings = Grading.objects.filter(frame__in=held).order_by("at", "pk")
    # In rising order, so that of several gradings of a frame the last one stays.
    return {grading.frame_id: grading for grading in gradings}
