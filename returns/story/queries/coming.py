"""What comes next in a story, in a sentence that is true now. Reads."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Final

from django.db.models import Q
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from inventory.ledger.queries import balances
from inventory.models import PlaceKind
from returns.kits import queries as kit_stock
from returns.models import Dispatch, Parcel, PartnerSlip, Question, Request, ReturnedFrame
from returns.regrind.queries import became
from returns.story.sums.states import FrameState, RequestState

_POSTED: Final = (FrameState.POSTED, FrameState.POSTED_AS_IS)
_NEXT: Final[dict[FrameState, str | Promise]] = {
    FrameState.WEIGHED: gettext_lazy("Next we look it over and decide what can be done."),
    FrameState.HELD: gettext_lazy("Next we look at it once more and then decide."),
    FrameState.TO_MEND: gettext_lazy("Next we mend it."),
    FrameState.MENDING: gettext_lazy("It is being mended."),
    FrameState.MENDED: gettext_lazy("Next we post it to you."),
    FrameState.POSTED: gettext_lazy("It is on its way to you. Tell us if it does not come."),
    FrameState.TO_RETURN: gettext_lazy("Next we post it back to you as it is."),
    FrameState.POSTED_AS_IS: gettext_lazy(
        "It is on its way back to you as it is. Tell us if it does not come."
    ),
    FrameState.BOXED: gettext_lazy(
        "It is taken apart and waits in its box to be ground. You hear what it becomes."
    ),
    FrameState.DISCARDED: gettext_lazy(
        "It could not be ground with ours and was disposed of as waste."
    ),
}


# Where the customer said at the counter that they fetch it there.
_COLLECTED: Final[dict[FrameState, str | Promise]] = {
    FrameState.MENDED: gettext_lazy("It is ready: you can collect it at our counter."),
    FrameState.TO_RETURN: gettext_lazy("You can collect it at our counter, as it is."),
}
_BY_POST: Final = {"posted_at__isnull": False, "at_counter": False}


def of_kit(request: Request, at: datetime) -> str:
    """Say what comes next for spare screws."""
    # Nobody writes that a parcel has come. After long enough it counts as there, and the page says
    # so even before the sweep has settled the request.
    if request.state == RequestState.POSTED and kit_stock.long_posted(request.posted_at, at):
        return _("This story is over. We hope that the screw holds.")
    return {
        RequestState.WAITING_STOCK: _(
            "The screws are used up. The next ones are yours, in the order of asking; you need "
            "do nothing."
        ),
        RequestState.RESERVED: _("Next we post it to you."),
        RequestState.POSTED: _("It should be with you within two weeks. Tell us if it is not."),
        RequestState.REPORTED_MISSING: _("One of us looks into it, and you hear from us."),
        RequestState.SETTLED: _("This story is over. We hope that the screw holds."),
        RequestState.WITHDRAWN: _("You withdrew this request. Nothing more happens."),
    }[RequestState(request.state)]


def of_return(
    request: Request, frames: list[ReturnedFrame], at: datetime, asked: Mapping[int, Question]
) -> str:
    """Say what comes next for frames sent back; of several, each sentence names its frame.

    `asked` holds the open question of each frame that waits for an answer.
    """
    if len(frames) > 1:
        said = ((frame.tag, of_frame(frame, at, asked.get(frame.pk))) for frame in frames)
        return " ".join(f"{tag}: {words}" for tag, words in said)
    if frames:
        return of_frame(frames[0], at, asked.get(frames[0].pk))
    if request.state == RequestState.AWAITED and request.sent_at is not None:
        return _("You have posted it, as you told us. We write when it has arrived.")
    slip = PartnerSlip.objects.filter(request=request).select_related("partner").first()
    if slip is not None and request.state in _BY_SLIP:
        return str(_BY_SLIP[RequestState(request.state)]) % {"partner": slip.partner}
    several = request.further_frames.exists()
    return {
        RequestState.AWAITED: _("Print the slip, put it in the parcel with your frames, post it.")
        if several
        else _("Print the slip, put it in the parcel with your frame, post it."),
        RequestState.ARRIVED: _("Your parcel is here. Next we open and weigh what is in it."),
        RequestState.WITHDRAWN: _("This request has ended. Nothing more happens."),
        RequestState.RESTING: _(
            "Your frames have not come, so the request rests. You still want to send them? Wake it."
        )
        if several
        else _(
            "Your frame has not come, so the request rests. You still want to send it? Wake it."
        ),
    }.get(RequestState(request.state), _("This story is over."))


_BY_SLIP: Final[dict[RequestState, str | Promise]] = {
    RequestState.AWAITED: gettext_lazy(
        "Leave your frame, with the slip's other half, at %(partner)s. It comes to us in their box."
    ),
    RequestState.ARRIVED: gettext_lazy(
        "The box of %(partner)s is here. Next we open your bag and weigh what is in it."
    ),
}


def of_one_not_here(request: Request) -> str:
    """Say what is with a frame that was filed with others and that nobody has weighed in."""
    own = Q(request=request) | Q(partner_slips__request=request)
    if Parcel.objects.filter(own, done_at=None).exists():
        return _("Your parcel is being opened; this frame has not been weighed in yet.")
    return _("It was not in your parcel. You can still post it with the same slip.")


def of_frame(frame: ReturnedFrame, at: datetime, asked: Question | None = None) -> str:
    """Say what comes next for one frame; `asked` is the open question about it."""
    if asked is not None:
        return _("It waits for your answer to our question.")
    if is_over(frame, at):
        return _("This story is over.")
    # A report that it never came goes before the sentence that it is on its way.
    if frame.state in _POSTED and frame.dispatches.exclude(missing_reported_at=None).exists():
        return _("One of us looks into it, and you hear from us.")
    if frame.state == FrameState.TO_STRIP:
        return _to_be_ground(frame)
    collects = frame.request is not None and frame.request.collects
    words = _NEXT | (_COLLECTED if collects else {})
    data = _ground(frame) if frame.state == FrameState.GROUND else str(words[_state(frame)])
    if not lenses_wait(frame):
        return data
    return f"{data} {_lenses_at_counter() if collects else _lenses()}"


def is_over(frame: ReturnedFrame, at: datetime) -> bool:
    """Return whether a frame is with its wearer: handed over at the counter, or posted so long ago
    that it has come, as far as we know.
    """
    if frame.state not in _POSTED:
        return False
    if kit_stock.long_posted(frame.ended_at, at):
        return True
    return frame.dispatches.filter(at_counter=True).exclude(kind=Dispatch.Kind.LENSES).exists()


def lenses_wait(frame: ReturnedFrame) -> bool:
    """Return whether lenses of a frame that was taken apart are still here, to be posted."""
    # The same rule as in `story.rules`, which a query must not import.
    apart = (FrameState.BOXED, FrameState.GROUND, FrameState.DISCARDED)
    if not frame.lenses_back or frame.state not in apart:
        return False
    return balances.held_mg(subject=frame.tag, kind=PlaceKind.BENCH) > 0


def _state(frame: ReturnedFrame) -> FrameState:
    return FrameState(frame.state)


def _lenses() -> str:
    return _("Your lenses are still here; we post them to you.")


def _lenses_at_counter() -> str:
    return _("Your lenses are still here; you can collect them at our counter.")


def _to_be_ground(frame: ReturnedFrame) -> str:
    if frame.lenses_back:
        return _("Next it is taken apart; your lenses come back to you, the rest is ground.")
    return _("Next it is taken apart and ground for new frames.")


def _ground(frame: ReturnedFrame) -> str:
    found = became.of(frame)
    if found and all(one.first_moulded_on for one in found):
        return _("It has become part of new frames. Thank you for sending it.")
    return _("It becomes part of new frames. Thank you for sending it.")


# What may still be posted back, once it is mended or as it is.
_MAY_GO_BACK: Final = frozenset(
    {
        FrameState.WEIGHED,
        FrameState.HELD,
        FrameState.TO_MEND,
        FrameState.MENDING,
        FrameState.MENDED,
        FrameState.TO_RETURN,
    }
)


def address_words(request: Request, frames: list[ReturnedFrame]) -> str:
    """Say what the address on the page is now: where something will go, went, or neither."""
    if request.collects:
        return _("Your address")
    if _is_to_go(request, frames):
        return _("Will go to")
    was_posted = request.dispatches.filter(**_BY_POST).exists() or any(
        frame.dispatches.filter(**_BY_POST).exists() for frame in frames
    )
    return _("Posted to") if was_posted else _("Your address")


def _is_to_go(request: Request, frames: list[ReturnedFrame]) -> bool:
    if request.kind == Request.Kind.SCREWS:
        return request.state in (RequestState.RESERVED, RequestState.WAITING_STOCK)
    if not frames:
        return request.state in (RequestState.AWAITED, RequestState.ARRIVED)
    return any(
        frame.state in _MAY_GO_BACK
        or (frame.state == FrameState.TO_STRIP and frame.lenses_back)
        or lenses_wait(frame)
        for frame in frames
    )
