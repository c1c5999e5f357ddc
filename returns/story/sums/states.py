"""What a request and a frame may become next, as data.

The rules turn `sources(target)` into the WHERE of a conditional UPDATE, so a step that is not in
these tables cannot happen however many hands press at once. The docs print `diagram()`.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType
from typing import Final, TypeVar


class RequestKind(StrEnum):
    """What the customer asked for."""

    SEND_BACK = "send_back"
    SPARE_SCREWS = "spare_screws"


class RequestState(StrEnum):
    """Where a request stands. Arriving and resting belong to send-backs, posting to screws."""

    AWAITED = "awaited"
    ARRIVED = "arrived"
    SETTLED = "settled"
    WITHDRAWN = "withdrawn"
    RESERVED = "reserved"
    WAITING_STOCK = "waiting_stock"
    POSTED = "posted"
    REPORTED_MISSING = "reported_missing"
    RESTING = "resting"


class FrameState(StrEnum):
    """Where a returned frame stands, from the weigh-in to the post or the granulator."""

    WEIGHED = "weighed"
    HELD = "held"
    TO_MEND = "to_mend"
    MENDING = "mending"
    MENDED = "mended"
    POSTED = "posted"
    TO_STRIP = "to_strip"
    TO_RETURN = "to_return"
    BOXED = "boxed"
    GROUND = "ground"
    POSTED_AS_IS = "posted_as_is"
    VOIDED = "voided"
    DISCARDED = "discarded"


State = TypeVar("State", RequestState, FrameState)
Steps = Mapping[State, frozenset[State]]

# In the house and on its way: promised, asked about, and in some place of the ledger.
ON_A_SHELF: Final = frozenset(
    {
        FrameState.WEIGHED,
        FrameState.HELD,
        FrameState.TO_MEND,
        FrameState.MENDING,
        FrameState.MENDED,
        FrameState.TO_STRIP,
        FrameState.TO_RETURN,
    }
)
# A grading may be made, and made again, while nothing has been done to the frame. It may come out
# as before, so a state may lead to itself.
REGRADABLE: Final = frozenset(
    {
        FrameState.WEIGHED,
        FrameState.HELD,
        FrameState.TO_MEND,
        FrameState.TO_STRIP,
        FrameState.TO_RETURN,
    }
)
GRADED: Final = frozenset(
    {FrameState.HELD, FrameState.TO_MEND, FrameState.TO_STRIP, FrameState.TO_RETURN}
)
# After a bench check that failed: try again, give the frame up, or hand it back unmended.
AFTER_FAILED_CHECK: Final = frozenset(
    {FrameState.MENDING, FrameState.TO_STRIP, FrameState.TO_RETURN}
)

FRAME_STARTS: Final = frozenset({FrameState.WEIGHED})
FRAME_STEPS: Final[Steps[FrameState]] = MappingProxyType(
    {
        # A weigh-in may be undone only while nobody has decided anything about the frame.
        FrameState.WEIGHED: GRADED | {FrameState.VOIDED},
        # What is not of our polymer never enters a box: it ends as waste, or goes back.
        FrameState.HELD: GRADED | {FrameState.DISCARDED},
        FrameState.TO_MEND: GRADED | {FrameState.MENDING},
        FrameState.MENDING: AFTER_FAILED_CHECK | {FrameState.MENDED},
        FrameState.MENDED: frozenset({FrameState.POSTED}),
        FrameState.POSTED: frozenset(),
        FrameState.TO_STRIP: GRADED | {FrameState.BOXED, FrameState.DISCARDED},
        # What is wanted back is looked over again if need be, but is never ground from here.
        FrameState.TO_RETURN: GRADED - {FrameState.TO_STRIP} | {FrameState.POSTED_AS_IS},
        # A strip-down may be undone while the box is as it left it.
        FrameState.BOXED: frozenset({FrameState.GROUND, FrameState.TO_STRIP}),
        FrameState.GROUND: frozenset(),
        FrameState.POSTED_AS_IS: frozenset(),
        FrameState.VOIDED: frozenset(),
        FrameState.DISCARDED: frozenset(),
    }
)

REQUEST_STARTS: Final[Mapping[RequestKind, frozenset[RequestState]]] = MappingProxyType(
    {
        RequestKind.SEND_BACK: frozenset({RequestState.AWAITED}),
        RequestKind.SPARE_SCREWS: frozenset({RequestState.RESERVED, RequestState.WAITING_STOCK}),
    }
)
REQUEST_STEPS: Final[Mapping[RequestKind, Steps[RequestState]]] = MappingProxyType(
    {
        RequestKind.SEND_BACK: MappingProxyType(
            {
                RequestState.AWAITED: frozenset(
                    {RequestState.ARRIVED, RequestState.WITHDRAWN, RequestState.RESTING}
                ),
                # Nothing came in time. Its link wakes it, and so does the parcel.
                RequestState.RESTING: frozenset({RequestState.ARRIVED, RequestState.AWAITED}),
                # What came for it held no frame of its sender: it is as it was before.
                RequestState.ARRIVED: frozenset(
                    {RequestState.SETTLED, RequestState.AWAITED, RequestState.WITHDRAWN}
                ),
                # A parcel may have been in the post when its sender withdrew.
                RequestState.WITHDRAWN: frozenset({RequestState.ARRIVED}),
                # Another frame of the same slip may follow.
                RequestState.SETTLED: frozenset({RequestState.ARRIVED}),
            }
        ),
        RequestKind.SPARE_SCREWS: MappingProxyType(
            {
                RequestState.WAITING_STOCK: frozenset(
                    {RequestState.RESERVED, RequestState.WITHDRAWN}
                ),
                # Back to waiting when the bin turns out to hold less than the books said.
                RequestState.RESERVED: frozenset(
                    {RequestState.POSTED, RequestState.WAITING_STOCK, RequestState.WITHDRAWN}
                ),
                RequestState.POSTED: frozenset(
                    {RequestState.SETTLED, RequestState.REPORTED_MISSING}
                ),
                # Sent again, queued to be sent again, or it turned up after all.
                RequestState.REPORTED_MISSING: frozenset(
                    {RequestState.RESERVED, RequestState.WAITING_STOCK, RequestState.SETTLED}
                ),
                RequestState.WITHDRAWN: frozenset(),
                RequestState.SETTLED: frozenset(),
            }
        ),
    }
)


def sources(target: State) -> frozenset[State]:
    """Return every state from which `target` may be reached in one step.

    For a request state shared by both kinds the answer is the union; a request never holds a
    state of the other kind, so the union is safe in a conditional UPDATE.
    """
    return frozenset(
        source
        for steps in _tables(target)
        for source, targets in steps.items()
        if target in targets
    )


def targets(source: State) -> frozenset[State]:
    """Return every state that may follow `source` in one step, over all kinds."""
    return frozenset(target for steps in _tables(source) for target in steps.get(source, ()))


def is_final(state: State) -> bool:
    """Tell whether nothing can follow `state`, for a request of either kind."""
    return not targets(state)


def _tables(state: State) -> list[Steps[State]]:
    if isinstance(state, FrameState):
        return [FRAME_STEPS]
    return list(REQUEST_STEPS.values())
