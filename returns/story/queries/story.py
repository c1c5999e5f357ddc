"""The story of one request, for the person whose it is: so far, where it is now, what is next.

Read from the request's events and from the rows of its frames: weigh-ins, gradings, jobs, checks
and dispatches. What says nothing to a customer is left out, and so is everything about staff.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Final

from django.utils.formats import date_format
from django.utils.functional import Promise
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, pgettext

from inventory.furniture import numbers
from inventory.models import Event
from returns.asking import queries as asking
from returns.filing.queries import frames as filed_frames
from returns.filing.queries.frames import FiledFrame
from returns.kits import queries as kit_stock
from returns.models import (
    BenchCheck,
    Dispatch,
    JobStep,
    Parcel,
    PartnerSlip,
    Question,
    RepairJob,
    Request,
    ReturnedFrame,
)
from returns.models.catalogue import ComponentKey
from returns.models.gradings import Outcome
from returns.models.remedies import Method
from returns.regrind.queries import became
from returns.regrind.queries.became import Became
from returns.story.queries import coming, stations
from returns.story.queries.stations import Way
from returns.story.sums.states import ON_A_SHELF, FrameState, RequestState

Text = str | Promise


@dataclass(frozen=True, slots=True)
class Turn:
    """One thing that happened; `tag` names the frame that it happened to."""

    at: datetime
    text: str
    tag: str = ""


@dataclass(frozen=True, slots=True)
class Mended:
    """What was done to one part of a frame, which `tag` names."""

    component: str
    work: Text
    tag: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """One frame of several: where it is and what is next."""

    frame: ReturnedFrame
    filed: FiledFrame | None
    next: str
    way: Way
    promised_by: date | None

    @property
    def stations(self) -> list[Text]:
        """The names of its stations in order."""
        return [station.label for station in self.way.stations]


@dataclass(frozen=True, slots=True)
class NotHere:
    """A frame that was filed with others and has not been weighed in, while others have."""

    filed: FiledFrame
    next: str


@dataclass(frozen=True, slots=True)
class Story:
    """What the page shows. `way` holds the loop's stations and the present one.

    `promised_by` is set while something is still to be done by that day. It pauses, and is not set,
    while a question of ours waits for its answer; `asked` holds those questions.
    """

    turns: list[Turn]
    next: str
    way: Way
    promised_by: date | None
    mended: list[Mended]
    became: list[Became]
    cards: list[Card]
    not_here: list[NotHere]
    address: str
    asked: list[Question]

    @property
    def has_cards(self) -> bool:
        """Whether each frame is told by itself."""
        return len(self.cards) + len(self.not_here) > 1

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
    """Return the whole story of a request, as it reads at a moment."""
    # A weigh-in that was undone is no part of the story.
    rows = request.frames.exclude(state=FrameState.VOIDED.value)
    frames = list(rows.select_related("lot__colour", "box").order_by("weighed_at"))
    is_kit = request.kind == Request.Kind.SCREWS
    asked = asking.open_of(frames) if frames else {}
    ways = [heap for frame in frames for heap in became.of(frame)]
    # Moulded only when every ground frame is: `all` of nothing would be true, so the list must not
    # be empty.
    moulded = bool(ways) and all(one.first_moulded_on for one in ways)
    filed = filed_frames.of(request)
    return Story(
        turns=_turns(request, frames),
        next=coming.of_kit(request, at) if is_kit else coming.of_return(request, frames, at, asked),
        way=_way(request, frames, moulded, at),
        promised_by=_promised_by(request, frames, asked),
        mended=mended_parts(frames),
        became=ways,
        cards=[_card(frame, filed, at, asked.get(frame.pk)) for frame in frames],
        not_here=_not_here(request, frames, filed),
        address=coming.address_words(request, frames),
        asked=list(asked.values()),
    )


def _way(request: Request, frames: list[ReturnedFrame], moulded: bool, at: datetime) -> Way:
    if request.kind == Request.Kind.SCREWS:
        return stations.of_kit(request, is_over=kit_stock.long_posted(request.posted_at, at))
    is_over = bool(frames) and all(coming.is_over(frame, at) for frame in frames)
    return stations.of(request, frames, moulded=moulded, is_over=is_over)


def _not_here(
    request: Request, frames: list[ReturnedFrame], filed: list[FiledFrame]
) -> list[NotHere]:
    if not frames or len(filed) == 1:
        return []
    waiting = filed_frames.still_to_come(request, filed=filed)
    return [NotHere(one, coming.of_one_not_here(request)) for one in waiting]


def _card(
    frame: ReturnedFrame, filed: list[FiledFrame], at: datetime, asked: Question | None
) -> Card:
    found = became.of(frame)
    moulded = bool(found) and all(one.first_moulded_on for one in found)
    way = stations.of_frames([frame], moulded=moulded, is_over=coming.is_over(frame, at))
    runs = frame.state in ON_A_SHELF and not asking.pauses(frame, asked)
    promised = frame.promised_by if runs else None
    # One that nobody filed, such as a second frame under a slip for one, has no filing to show.
    told = {one.number: one for one in filed}.get(frame.number or 0) if len(filed) > 1 else None
    return Card(frame, told, coming.of_frame(frame, at, asked), way, promised)


def _promised_by(
    request: Request, frames: list[ReturnedFrame], asked: Mapping[int, Question]
) -> date | None:
    if request.state == RequestState.RESERVED:
        return request.promised_by
    # The last day counts for all: while one of them pauses, nobody knows it.
    if any(asking.pauses(frame, asked.get(frame.pk)) for frame in frames):
        return None
    promised = [frame.promised_by for frame in frames if frame.state in ON_A_SHELF]
    # Of several frames the last day is the promise for the whole request.
    return max(promised, default=None)


def mended_parts(frames: list[ReturnedFrame]) -> list[Mended]:
    """Return what was done to frames that passed their check, part by part."""
    mended = [frame for frame in frames if frame.state in (FrameState.MENDED, FrameState.POSTED)]
    # Steps of a job that was given up, and tries that did not hold, are no part of what was mended.
    rows = JobStep.objects.filter(
        job__frame__in=mended, job__state=RepairJob.State.PASSED, withdrawn_at=None
    )
    return [
        Mended(_component(step.component), _DONE[Method(step.remedy.method)], step.job.frame.tag)
        for step in rows.exclude(done_at=None)
        .exclude(worked=False)
        .select_related("remedy", "job__frame")
    ]


def _component(key: str) -> str:
    return str(ComponentKey(key).label) if key in ComponentKey.values else key


def _turns(request: Request, frames: list[ReturnedFrame]) -> list[Turn]:
    turns = _request_turns(request)
    for frame in frames:
        turns += _frame_turns(frame)
    turns += _question_turns(request)
    # The sort is stable: of two turns at one moment the request's own comes before its frames'.
    turns.sort(key=lambda turn: turn.at)
    return turns


def _request_turns(request: Request) -> list[Turn]:
    # Events without a sentence of their own concern the workshop alone and are passed over.
    events = Event.objects.filter(subject=request.reference).order_by("at", "pk")
    data = [
        Turn(action.at, _event_words(request, action.name))
        for action in events
        if action.name in _EVENTS
    ]
    # Frames of all parcels in one query; `_brought` goes through them in memory.
    for parcel in request.parcels.prefetch_related("frames", "later_parts"):
        data.append(Turn(parcel.arrived_at, _("A parcel from you arrived.")))
        if parcel.done_at is not None and not _brought(parcel, request):
            data.append(Turn(parcel.done_at, _("No frame of yours was in the parcel.")))
    slip = PartnerSlip.objects.filter(request=request).select_related("parcel").first()
    if slip is not None and slip.arrived_at is not None:
        data.append(Turn(slip.arrived_at, _("The shop's box with your bag arrived.")))
        if slip.parcel and slip.parcel.done_at and not _brought(slip.parcel, request):
            data.append(Turn(slip.parcel.done_at, _("No frame of yours was in the box.")))
    posted = request.dispatches.filter(frame=None).exclude(posted_at=None)
    return data + [_dispatch_turn(dispatch) for dispatch in posted]


def _event_words(request: Request, name: str) -> str:
    frames = 1 + request.further_frames.count() if name == "intake.file_return" else 1
    if frames == 1:
        return str(_EVENTS[name])
    return _("You told us that %(count)s frames are coming back.") % {"count": frames}


def _brought(parcel: Parcel, request: Request) -> bool:
    """Whether a frame of the request was in a parcel, or one whose story is not known yet."""
    kept = [frame for frame in parcel.frames.all() if frame.state != FrameState.VOIDED]
    parts = any(part.undone_at is None for part in parcel.later_parts.all())
    return parts or any(frame.request_id in (None, request.pk) for frame in kept)


def _frame_turns(frame: ReturnedFrame) -> list[Turn]:
    data = [Turn(frame.weighed_at, _("Your frame was weighed in as %(tag)s.") % _tag(frame))]
    data += [Turn(one.at, str(_DECIDED[Outcome(one.decided)])) for one in frame.gradings.all()]
    data += [Turn(job.opened_at, _("We began to mend it.")) for job in frame.jobs.all()]
    for check in BenchCheck.objects.filter(job__frame=frame, withdrawn_at=None):
        passed = _("It is mended and passed its check.")
        data.append(Turn(check.at, passed if check.passed else _("It did not pass its check.")))
    for part in frame.later_parts.filter(undone_at=None):
        data.append(Turn(part.joined_at, _("A part that you sent later joined it.")))
    data += [_dispatch_turn(dispatch) for dispatch in frame.dispatches.exclude(posted_at=None)]
    # The last, since a strip-down may have been undone and done again.
    taken = Event.objects.filter(name="stripdown.strip", subject=frame.tag).last()
    if frame.state in (FrameState.BOXED, FrameState.GROUND) and taken is not None:
        data.append(Turn(taken.at, _("We took it apart.")))
    ground = Event.objects.filter(name="regrind.ground", subject=frame.tag).first()
    if frame.state == FrameState.GROUND and ground is not None:
        data.append(Turn(ground.at, ground_words(frame)))
    return [replace(turn, tag=frame.tag) for turn in data]


def _question_turns(request: Request) -> list[Turn]:
    turns = []
    for one in request.questions.select_related("frame"):
        turns.append(Turn(one.asked_at, _quoted(_("We asked you"), one.text), one.frame.tag))
        if one.closed_at is None:
            continue
        said = " – ".join(text for text in (one.chosen, one.answer) if text)
        words = _quoted(_("You answered"), said) if one.is_answered else _("We need no answer now.")
        turns.append(Turn(one.closed_at, words, one.frame.tag))
    return turns


def _quoted(words: str, text: str) -> str:
    # Erased data leave an empty text behind, and a photo may be the whole answer.
    if not text:
        return _("%(words)s.") % {"words": words}
    return _("%(words)s: “%(text)s”") % {"words": words, "text": text}


def _tag(frame: ReturnedFrame) -> dict[str, str]:
    return {"tag": frame.tag}


def _dispatch_turn(dispatch: Dispatch) -> Turn:
    if dispatch.posted_at is None:
        raise ValueError("a dispatch without a date has not been posted")
    words = _HANDED_OVER if dispatch.at_counter else _SENT
    return Turn(dispatch.posted_at, str(words[Dispatch.Kind(dispatch.kind)]))


def day_words(day: date) -> str:
    """Write a day as the pages do, such as "14 Oct 2026"."""
    return date_format(day, pgettext("format of a day", "j M Y"))


def ground_words(frame: ReturnedFrame) -> str:
    """Say which mass of which colour went into which lot, a sentence for each heap."""
    rows = frame.heaps.exclude(lot=None).select_related("lot__colour").order_by("pk")
    told = [
        _("%(mass)s of material from your frame were ground into the lot %(lot)s (%(colour)s).")
        % {
            "mass": numbers.mass_words(heap.mass_mg),
            "colour": heap.lot.colour.name,
            "lot": heap.lot.code,
        }
        for heap in rows
        if heap.lot is not None
    ]
    return " ".join(told) or _("Your frame was ground together with others of its colour.")


_EVENTS: Final[dict[str, Text]] = {
    "intake.file_return": gettext_lazy("You told us that a frame is coming back."),
    "counter.take_in": gettext_lazy("You brought a frame to our counter."),
    "partners.file": gettext_lazy("You filed with a slip from a shop."),
    "intake.ask_screws": gettext_lazy("You asked for spare screws."),
    "intake.withdraw": gettext_lazy("You withdrew the request."),
    "intake.lapse": gettext_lazy("Nothing arrived, so we ended the request."),
    "intake.say_posted": gettext_lazy("You told us that it is in the post."),
    "intake.remind": gettext_lazy("It had not come, so we wrote to you."),
    "intake.rest": gettext_lazy("It had not come for long, so the request went to rest."),
    "intake.revive": gettext_lazy("You woke the request."),
    "intake.change_email": gettext_lazy("The email was changed."),
    "intake.send_again": gettext_lazy("You had our mail sent again."),
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
_HANDED_OVER: Final[dict[Dispatch.Kind, Text]] = {
    Dispatch.Kind.KIT: gettext_lazy("You collected the kit at our counter."),
    Dispatch.Kind.MENDED: gettext_lazy("You collected the mended frame at our counter."),
    Dispatch.Kind.AS_IS: gettext_lazy("You collected the frame at our counter, as it is."),
    Dispatch.Kind.LENSES: gettext_lazy("You collected your lenses at our counter."),
}
_SENT: Final[dict[Dispatch.Kind, Text]] = {
    Dispatch.Kind.KIT: gettext_lazy("The kit was posted to you."),
    Dispatch.Kind.MENDED: gettext_lazy("The mended frame was posted to you."),
    Dispatch.Kind.AS_IS: gettext_lazy("The frame was posted back to you as it is."),
    Dispatch.Kind.LENSES: gettext_lazy("Your lenses were posted to you."),
}
