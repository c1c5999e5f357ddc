"""The story of one request, told to the person whose it is: so far, where it is now, what is next.

Read from the request's deeds and from the rows of its frames: weigh-ins, gradings, jobs, checks
and dispatches. What says nothing to a customer is left out, and so is everything about staff.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from inventory.furniture import numbers
from inventory.models import Event
from returns.desk.queries.dangling import ON_A_SHELF
from returns.kits import queries as kit_stock
from returns.models import (
    BenchCheck,
    Dispatch,
    JobStep,
    Parcel,
    RepairJob,
    Request,
    ReturnedFrame,
)
from returns.models.catalogue import ComponentKey
from returns.models.gradings import Outcome
from returns.models.remedies import Method
from returns.regrind.queries import became
from returns.regrind.queries.became import Became
from returns.story.queries import stations
from returns.story.queries.stations import Way
from returns.story.sums.states import FrameState, RequestState

Text = str | Promise


@dataclass(frozen=True, slots=True)
class Turn:
    """One thing that happened."""

    at: datetime
    text: str


@dataclass(frozen=True, slots=True)
class Mended:
    """What was done to one part of a frame."""

    component: str
    deed: Text


@dataclass(frozen=True, slots=True)
class Story:
    """What the page shows. `way` holds the loop's stations and the present one.

    `promised_by` is set while we still owe something by that day.
    """

    turns: list[Turn]
    next: str
    way: Way
    promised_by: date | None
    mended: list[Mended]
    became: list[Became]

    @property
    def stations(self) -> list[Text]:
        """The names of the stations in order."""
        return [station.label for station in self.way.stations]

    @property
    def station(self) -> int:
        """The index of the present station, from 0."""
        return self.way.at


_DONE: Final[dict[Method, Text]] = {
    Method.REPLACE: gettext_lazy("replaced"),
    Method.TIGHTEN: gettext_lazy("tightened or fitted anew"),
    Method.STEP_UP: gettext_lazy("hole tapped one size up, larger screw fitted"),
    Method.GLUE: gettext_lazy("glued or welded"),
    Method.RESHAPE: gettext_lazy("warmed and shaped anew"),
    Method.POLISH: gettext_lazy("polished"),
}


def of(request: Request, *, at: datetime) -> Story:
    """The whole story of a request, as it reads at a moment."""
    # A weigh-in that was undone is no part of the story.
    rows = request.frames.exclude(state=FrameState.VOIDED.value)
    frames = list(rows.select_related("lot__colour", "box").order_by("weighed_at"))
    is_kit = request.kind == Request.Kind.SCREWS
    ways = [found for found in map(became.of, frames) if found is not None]
    moulded = bool(ways) and all(one.first_moulded_on for one in ways)
    return Story(
        turns=_turns(request, frames),
        next=_kit_next(request, at) if is_kit else _return_next(request, frames, at),
        way=stations.of(request, frames, moulded=moulded),
        promised_by=_promised_by(request, frames),
        mended=mended_parts(frames),
        became=ways,
    )


def _promised_by(request: Request, frames: list[ReturnedFrame]) -> date | None:
    if request.state == RequestState.RESERVED:
        return request.promised_by
    owed = [frame.promised_by for frame in frames if frame.state in ON_A_SHELF]
    return max(owed, default=None)


def mended_parts(frames: list[ReturnedFrame]) -> list[Mended]:
    """What was done to frames that passed their check, part by part."""
    mended = [frame for frame in frames if frame.state in (FrameState.MENDED, FrameState.POSTED)]
    rows = JobStep.objects.filter(job__frame__in=mended, job__state=RepairJob.State.PASSED)
    return [
        Mended(_component(step.component), _DONE[Method(step.remedy.method)])
        for step in rows.exclude(done_at=None).exclude(worked=False).select_related("remedy")
    ]


def _component(key: str) -> str:
    return str(ComponentKey(key).label) if key in ComponentKey.values else key


def _turns(request: Request, frames: list[ReturnedFrame]) -> list[Turn]:
    turns = _request_turns(request)
    for frame in frames:
        turns += _frame_turns(frame)
    turns.sort(key=lambda turn: turn.at)
    return turns


def _request_turns(request: Request) -> list[Turn]:
    events = Event.objects.filter(subject=request.reference).order_by("at", "pk")
    data = [Turn(action.at, str(_DEEDS[action.name])) for action in events if action.name in _DEEDS]
    for parcel in request.parcels.prefetch_related("frames"):
        data.append(Turn(parcel.arrived_at, _("A parcel from you arrived.")))
        if parcel.done_at is not None and not _brought(parcel, request):
            data.append(Turn(parcel.done_at, _("No frame of yours was in the parcel.")))
    posted = request.dispatches.filter(frame=None).exclude(posted_at=None)
    return data + [_dispatch_turn(dispatch) for dispatch in posted]


def _brought(parcel: Parcel, request: Request) -> bool:
    """Whether a frame of the request was in a parcel, or one whose story is not known yet."""
    kept = [frame for frame in parcel.frames.all() if frame.state != FrameState.VOIDED]
    return any(frame.request_id in (None, request.pk) for frame in kept)


def _frame_turns(frame: ReturnedFrame) -> list[Turn]:
    data = [Turn(frame.weighed_at, _("Your frame was weighed in as %(tag)s.") % _tag(frame))]
    data += [Turn(one.at, str(_DECIDED[Outcome(one.decided)])) for one in frame.gradings.all()]
    data += [Turn(job.opened_at, _("We began to mend it.")) for job in frame.jobs.all()]
    for check in BenchCheck.objects.filter(job__frame=frame):
        passed = _("It is mended and passed its check.")
        data.append(Turn(check.at, passed if check.passed else _("It did not pass its check.")))
    data += [_dispatch_turn(dispatch) for dispatch in frame.dispatches.exclude(posted_at=None)]
    taken = Event.objects.filter(name="stripdown.strip", subject=frame.tag).last()
    if frame.state in (FrameState.BOXED, FrameState.GROUND) and taken is not None:
        data.append(Turn(taken.at, _("We took it apart.")))
    ground = Event.objects.filter(name="regrind.ground", subject=frame.tag).first()
    if frame.state == FrameState.GROUND and ground is not None:
        data.append(Turn(ground.at, ground_words(frame)))
    return data


def _tag(frame: ReturnedFrame) -> dict[str, str]:
    return {"tag": frame.tag}


def _dispatch_turn(dispatch: Dispatch) -> Turn:
    if dispatch.posted_at is None:
        raise ValueError("a dispatch without a date has not been posted")
    return Turn(dispatch.posted_at, str(_SENT[Dispatch.Kind(dispatch.kind)]))


def day_words(day: date) -> str:
    """A day as the pages write it, such as "14 Oct 2026"."""
    return date_format(day, pgettext("format of a day", "j M Y"))


def ground_words(frame: ReturnedFrame) -> str:
    """Which mass of which colour went into which lot, in a sentence."""
    if frame.lot is None or frame.boxed_mg == 0:
        return _("Your frame was ground together with others of its colour.")
    mass = numbers.mass_words(frame.boxed_mg)
    return _(
        "%(mass)s of material from your frame were ground into the lot %(lot)s (%(colour)s)."
    ) % {"mass": mass, "colour": frame.lot.colour.name, "lot": frame.lot.code}


_DEEDS: Final[dict[str, Text]] = {
    "intake.file_return": gettext_lazy("You told us that a frame is coming back."),
    "intake.ask_screws": gettext_lazy("You asked for spare screws."),
    "intake.withdraw": gettext_lazy("You withdrew the request."),
    "intake.lapse": gettext_lazy("Nothing arrived, so we ended the request."),
    "intake.change_address": gettext_lazy("The address was changed."),
    "intake.report_missing": gettext_lazy("You told us that it never came."),
    "kits.reserve": gettext_lazy("New screws came in; a kit was set aside for you."),
    "kits.put_back": gettext_lazy("We had counted wrongly: the kit waits for new screws."),
    "kits.report_missing": gettext_lazy("You told us that the kit never came."),
    "kits.repost": gettext_lazy("We are sending the kit once more."),
    "kits.turned_up": gettext_lazy("The kit turned up after all."),
}
_DECIDED: Final[dict[Outcome, Text]] = {
    Outcome.REPAIR: gettext_lazy("We looked it over: it can be mended."),
    Outcome.REGRIND: gettext_lazy("We looked it over: it cannot be mended so that it would last."),
    Outcome.HOLD: gettext_lazy("We looked it over and will look once more."),
}
_SENT: Final[dict[Dispatch.Kind, Text]] = {
    Dispatch.Kind.KIT: gettext_lazy("The kit was posted to you."),
    Dispatch.Kind.MENDED: gettext_lazy("The mended frame was posted to you."),
    Dispatch.Kind.AS_IS: gettext_lazy("The frame was posted back to you as it is."),
    Dispatch.Kind.LENSES: gettext_lazy("Your lenses were posted to you."),
}


def _kit_next(request: Request, at: datetime) -> str:
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


def _return_next(request: Request, frames: list[ReturnedFrame], at: datetime) -> str:
    if frames:
        now = [_frame_next(frame, at) for frame in frames]
        return " ".join(dict.fromkeys(now))
    return {
        RequestState.AWAITED: _("Print the slip, put it in the parcel with your frame, post it."),
        RequestState.ARRIVED: _("Your parcel is here. Next we open and weigh what is in it."),
        RequestState.WITHDRAWN: _("This request has ended. Nothing more happens."),
    }.get(RequestState(request.state), _("This story is over."))


def _frame_next(frame: ReturnedFrame, at: datetime) -> str:
    posted = frame.state in (FrameState.POSTED, FrameState.POSTED_AS_IS)
    if posted and kit_stock.long_posted(frame.ended_at, at):
        return _("This story is over.")
    if posted and frame.dispatches.exclude(missing_reported_at=None).exists():
        return _("One of us looks into it, and you hear from us.")
    if frame.state in (FrameState.WEIGHED, FrameState.HELD):
        return _("Next we look it over and decide what can be done.")
    if frame.state in (FrameState.TO_STRIP, FrameState.BOXED):
        return _to_be_ground(frame)
    return str(_NEXT[FrameState(frame.state)])


def _to_be_ground(frame: ReturnedFrame) -> str:
    if frame.state == FrameState.BOXED:
        return _("It is taken apart and waits in its box to be ground. You hear what it becomes.")
    if frame.lenses_back:
        return _("Next it is taken apart; your lenses come back to you, the rest is ground.")
    return _("Next it is taken apart and ground for new frames.")


_NEXT: Final[dict[FrameState, Text]] = {
    FrameState.TO_MEND: gettext_lazy("Next we mend it."),
    FrameState.MENDING: gettext_lazy("It is being mended."),
    FrameState.MENDED: gettext_lazy("Next we post it to you."),
    FrameState.POSTED: gettext_lazy("It is on its way to you. Tell us if it does not come."),
    FrameState.TO_RETURN: gettext_lazy("Next we post it back to you as it is."),
    FrameState.POSTED_AS_IS: gettext_lazy("It is on its way back to you as it is."),
    FrameState.GROUND: gettext_lazy("It becomes part of new frames. Thank you for sending it."),
    FrameState.DISCARDED: gettext_lazy(
        "It could not be ground with ours and was disposed of as waste."
    ),
}
