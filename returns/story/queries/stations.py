"""Where in the loop a request is: its stations in order, and at which one it stands. Reads.

The way of a frame forks when it has been looked over; until then nobody knows which way it goes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy, pgettext_lazy

from returns.models import Request, ReturnedFrame
from returns.story.sums.states import FrameState, RequestState


@dataclass(frozen=True, slots=True)
class Station:
    """A stop of the loop; `key` names its sign in the picture."""

    key: str
    label: str | Promise


@dataclass(frozen=True, slots=True)
class Way:
    """The stations in order and the index of the present one."""

    stations: tuple[Station, ...]
    at: int


_KIT: Final = (
    Station("asked", gettext_lazy("Asked")),
    Station("shelf", gettext_lazy("Set aside")),
    Station("post", gettext_lazy("Posted")),
    Station("home", gettext_lazy("With you")),
)
_START: Final = (
    Station("home", gettext_lazy("With you")),
    Station("post", gettext_lazy("On its way to us")),
    Station("scale", gettext_lazy("Weighed in")),
    Station("look", gettext_lazy("Looked over")),
)
# A parcel that is here, and what was in it nobody knows yet.
_HERE: Final = (
    Station("home", gettext_lazy("With you")),
    Station("shelf", gettext_lazy("Parcel is here")),
    Station("scale", gettext_lazy("Weighed in")),
    Station("look", gettext_lazy("Looked over")),
)
_WITHDRAWN: Final = (
    Station("asked", gettext_lazy("Asked")),
    Station("ended", gettext_lazy("Withdrawn")),
)
_ENDED: Final = (
    Station("home", gettext_lazy("With you")),
    Station("ended", gettext_lazy("Ended")),
)
_RESTING: Final = (
    Station("asked", gettext_lazy("Asked")),
    Station("rest", gettext_lazy("Rests")),
)
_OPEN: Final = (
    *_START,
    Station("fork", gettext_lazy("Mended or ground")),
    Station("loop", gettext_lazy("Back in the loop")),
)
_MEND: Final = (
    *_START,
    Station("bench", gettext_lazy("On the bench")),
    Station("post", gettext_lazy("On its way home")),
    Station("home", gettext_lazy("With you again")),
)
_GRIND: Final = (
    *_START,
    Station("apart", gettext_lazy("Taken apart")),
    Station("flake", gettext_lazy("Ground to flake")),
    Station("loop", gettext_lazy("Moulded again")),
)
_AS_IS: Final = (
    *_START,
    Station("post", pgettext_lazy("unmended", "On its way back to you")),
    Station("home", gettext_lazy("With you again")),
)
_WASTE: Final = (*_START, Station("waste", gettext_lazy("Disposed of as waste")))

_KIT_AT: Final = {
    RequestState.WAITING_STOCK: 0,
    RequestState.RESERVED: 1,
    RequestState.POSTED: 2,
    RequestState.REPORTED_MISSING: 2,
    RequestState.SETTLED: 3,
}
_FRAME_AT: Final = {
    FrameState.WEIGHED: (_OPEN, 2),
    FrameState.HELD: (_OPEN, 3),
    FrameState.TO_MEND: (_MEND, 3),
    FrameState.MENDING: (_MEND, 4),
    FrameState.MENDED: (_MEND, 4),
    FrameState.POSTED: (_MEND, 5),
    FrameState.TO_STRIP: (_GRIND, 3),
    FrameState.BOXED: (_GRIND, 4),
    FrameState.GROUND: (_GRIND, 5),
    FrameState.TO_RETURN: (_AS_IS, 3),
    FrameState.POSTED_AS_IS: (_AS_IS, 4),
    FrameState.DISCARDED: (_WASTE, 4),
}


def of_kit(request: Request, *, is_over: bool) -> Way:
    """Return the way of spare screws. `is_over` says that they were posted long ago."""
    if request.state == RequestState.WITHDRAWN:
        return Way(_WITHDRAWN, 1)
    at = _KIT_AT[RequestState(request.state)]
    return Way(_KIT, 3 if is_over and request.state == RequestState.POSTED else at)


def of(
    request: Request, frames: list[ReturnedFrame], *, moulded: bool, is_over: bool = False
) -> Way:
    """Return the way of a send-back; see `of_frames` for what has been weighed in."""
    if frames:
        return of_frames(frames, moulded=moulded, is_over=is_over)
    return {
        RequestState.AWAITED: Way(_OPEN, 0 if request.sent_at is None else 1),
        RequestState.ARRIVED: Way(_HERE, 1),
        RequestState.RESTING: Way(_RESTING, 1),
    }.get(RequestState(request.state), Way(_ENDED, 1))


def of_frames(frames: list[ReturnedFrame], *, moulded: bool, is_over: bool) -> Way:
    """Return the way of frames; of several the one that is farthest behind decides.

    `moulded` says that a ground frame is in a batch already, `is_over` that a posted one was
    posted long ago.
    """
    ways = [_FRAME_AT[FrameState(frame.state)] for frame in frames]
    at = min(at for _stations, at in ways)
    # Frames that went different ways share no picture, so it shows the way before the fork, as far
    # as all have come.
    if len({stations for stations, _at in ways}) > 1:
        return Way(_OPEN, min(at, len(_OPEN) - 1))
    stations = ways[0][0]
    is_further = (moulded and stations is _GRIND and at == 5) or is_over
    return Way(stations, at + 1 if is_further else at)
