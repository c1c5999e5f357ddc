"""Parcels and weigh-ins: what the post brought becomes tagged frames with a mass in the ledger.

The only writer of parcels, and the only one that makes returned frames. What is decided about a
frame afterwards stands in `lookover`.
"""

from __future__ import annotations

import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState, raise_all
from inventory.events import Draft
from inventory.furniture import numbers
from inventory.ledger.rules import ledger, places
from inventory.masters import queries as masters
from inventory.models import Event, Movement, PlaceKind, Reading, Scale, Workshop
from inventory.weighing import rules as weighing
from inventory.weighing.sums.masses import is_ambiguous
from returns.arriving.queries.frame_masses import reading_limit_mg
from returns.arriving.queries.massfits import bills_for, massfit_of
from returns.arriving.sums.plausible import Doubt, doubt
from returns.asking import queries as asking
from returns.filing.queries import frames as filed_frames
from returns.filing.queries.frames import FiledFrame
from returns.letters import rules as letters
from returns.models import (
    Colourway,
    FrameModel,
    Parcel,
    PartnerSlip,
    ProductionBatch,
    Request,
    ReturnedFrame,
    WalkIn,
)
from returns.story.rules import settle
from returns.story.sums import codes
from returns.story.sums.states import FrameState, RequestState, sources

if TYPE_CHECKING:
    from django.contrib.auth.models import User

# A frame that was mended more often than this was mistyped.
MENDS_TYPED_MAX = 20
REASON_LENGTH_MAX = 200
PERCENT_PPM = 10_000
# What spectacle frames of any maker weigh, with room to spare; common practice, no source.
FRAMES_MG = range(5_000, 150_001)


@dataclass(frozen=True, slots=True, kw_only=True)
class WeighIn:
    """What the bench says while one frame lies on the scale. `mass` is the text as typed.

    `cleaned` is the bench's word that the frame was washed, disinfected and dried. `request` is
    the story the frame belongs to: the parcel's own, another slip's, or None without a slip.
    `again` is a second reading of the same scale, and `reason` a person's word: one of the two is
    asked for where no such frame weighs so much. `number` says which of the frames that its
    request names it is, where model and colour do not tell. `slip` is a partner's slip that lay
    with the frame; it stands for its request once one is filed.
    """

    scale: Scale
    mass: str
    cleaned: bool
    colourway: Colourway | None = None
    batch: ProductionBatch | None = None
    is_stranger: bool = False
    request: Request | None = None
    mends_before: int = 0
    again: str = ""
    reason: str = ""
    number: int | None = None
    slip: PartnerSlip | None = None

    @property
    def model(self) -> FrameModel | None:
        """The model that the frame is said to be, by its colourway or its batch."""
        return self.look.model if self.look else None

    @property
    def look(self) -> Colourway | None:
        """The colourway that the frame is said to be, or that its batch is of."""
        return self.colourway or (self.batch.colourway if self.batch else None)

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        return [
            self.scale.pk,
            self.mass.strip(),
            self.cleaned,
            self.colourway.pk if self.colourway else None,
            self.batch.pk if self.batch else None,
            self.is_stranger,
            self.request.reference if self.request else None,
            self.mends_before,
            *([self.again.strip(), self.reason.strip()] if self.again or self.reason else []),
            *([["number", self.number]] if self.number is not None else []),
            *([["slip", self.slip.code]] if self.slip else []),
        ]


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrival:
    """One frame at the scale, with the parcel that it came in.

    Without a `parcel` one is booked, with the slip of the weighing. `is_last` is the bench's word
    that nothing else is in it.
    """

    weighing: WeighIn
    parcel: Parcel | None = None
    is_last: bool = False


@events.rule(
    "arrivals.book",
    facts=lambda request: [request.reference if request else None],
    again=lambda key: Parcel.objects.get(key=key),
    # How it was asked and not what: earlier keys were written without it.
    aside=["is_another"],
)
def book(
    event: Draft,
    /,
    *,
    key: UUID,
    request: Request | None,
    is_another: bool = True,
    at: datetime,
    by: User,
) -> Parcel:
    """Note that a parcel lies on the shelf; with a slip, its request has arrived.

    A second parcel for one request is a normal thing, and so is a slip that was scanned twice: who
    has not said that it is another one is asked. Raises BadInput then, and for a request that asks
    for spare screws; StaleState when the request cannot arrive.
    """
    if request is not None:
        _mark_arrived(request)
        if not is_another:
            _ask_whether_another(request)
    parcel = Parcel.objects.create(
        code=_fresh_parcel_code(), key=key, request=request, arrived_at=at
    )
    event.of(parcel.code, request=request.reference if request else None)
    return parcel


@events.rule(
    "arrivals.weigh_in",
    facts=lambda parcel, weighing: [parcel.code, *weighing.facts()],
    again=lambda key: ReturnedFrame.objects.get(key=key),
)
def weigh_in(
    event: Draft, /, *, key: UUID, parcel: Parcel, weighing: WeighIn, at: datetime, by: User
) -> ReturnedFrame:
    """Give one frame of a parcel its tag, its reading and its place on the arrivals shelf.

    Raises BadInput naming each field to mend, all at once; StaleState when the parcel is finished
    already. A mass that no such frame weighs needs a second reading or a reason.
    """
    # All faults are gathered before anything is written, so that the bench hand puts everything
    # right in one go instead of field by field.
    weighing = _with_slip(weighing)
    raise_all([*_bad_entries(weighing), *_bad_masses(weighing), *_bad_number(weighing)])
    _hold_open(parcel)
    if weighing.request is not None:
        _mark_arrived(weighing.request)
    if weighing.slip is not None:
        _mark_in_box(weighing.slip, parcel, at)
    frame = _made_frame(key, parcel, weighing, at)
    movement = _put_on_shelf(key, frame, at, by)
    _tell_arrived(frame, at)
    event.of(
        frame.tag,
        parcel=parcel.code,
        request=weighing.request.reference if weighing.request else None,
        mass_mg=frame.reading.mass_mg,
        movement=movement.number,
        **_explained(weighing, frame.reading, at),
    )
    return frame


@transaction.atomic
def take_in(*, key: UUID, arrival: Arrival, at: datetime, by: User) -> ReturnedFrame:
    """Book a parcel where none is open, weigh its frame in, and finish it after the last one.

    All of it or nothing: what is wrong with the weighing books no parcel. Raises what `book`,
    `weigh_in` and `finish` raise.
    """
    slip, made = arrival.weighing.request, ReturnedFrame.objects.filter(key=key).first()
    # A repeat finds the parcel of the first time finished, and must not book another.
    parcel = arrival.parcel or (made.parcel if made else None)
    if parcel is None:
        parcel = book(key=uuid.uuid5(key, "book"), request=slip, at=at, by=by)
    frame = weigh_in(key=key, parcel=parcel, weighing=arrival.weighing, at=at, by=by)
    if arrival.is_last:
        finish(key=uuid.uuid5(key, "finish"), parcel=parcel, at=at, by=by)
    return frame


def _frame(frame: ReturnedFrame) -> ReturnedFrame:
    return ReturnedFrame.objects.get(pk=frame.pk)


@events.rule(
    "arrivals.assign", facts=lambda frame, request: [frame.tag, request.reference], again=_frame
)
def assign(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, request: Request, at: datetime, by: User
) -> ReturnedFrame:
    """Give a frame that came without a slip to its request, while it is still in the house.

    The request's wish counts unless one was recorded at the bench. Raises StaleState when the
    frame has a story already or has ended.
    """
    _mark_arrived(request)
    filed, is_sure = _as_filed(request, frame.colourway)
    # Where nobody can tell which of several it is, its wish is asked for: nothing is ground till
    # then.
    wish = frame.wish or (filed.wish if is_sure else "")
    # The condition is part of the update: of two hands that name a sender at once, only one finds
    # the frame without a story.
    rows = ReturnedFrame.objects.filter(pk=frame.pk, request=None, ended_at=None)
    rows = rows.exclude(state__in=[FrameState.BOXED, FrameState.GROUND, FrameState.VOIDED])
    lenses_back = filed.lenses_back or not is_sure
    told = {"number": filed.number, "wish": wish, "lenses_back": lenses_back}
    if rows.update(request=request, **told) != 1:
        raise StaleState()
    found = _frame(frame)
    # The sender on the parcel's slip may have waited only because this frame could have been
    # theirs.
    _set_back(found.parcel.request, at)
    letters.enqueue(letter="arrived", request=request, frame=found, at=at)
    event.of(frame.tag, request=request.reference)
    return found


@events.rule(
    "arrivals.finish",
    facts=lambda parcel: [parcel.code],
    again=lambda parcel: Parcel.objects.get(pk=parcel.pk),
)
def finish(event: Draft, /, *, key: UUID, parcel: Parcel, at: datetime, by: User) -> Parcel:
    """Close a parcel once everything in it is weighed in; without a single frame it was empty.

    The parcel's sender gets a letter if no frame of theirs was in it: their request is awaited
    again.
    Raises StaleState when somebody finished it first.
    """
    frames = list(live_frames(parcel).select_related("request"))
    parts = parcel.later_parts.filter(undone_at=None).exists()
    content = _content(is_of_frames=bool(frames), is_of_parts=parts)
    # Two hands may press at once. Only the one that finds the parcel open goes on, so that its
    # sender gets no second letter.
    changed = Parcel.objects.filter(pk=parcel.pk, done_at=None).update(content=content, done_at=at)
    if changed != 1:
        raise StaleState()
    _tell_empty(parcel, frames, at)
    for request in _awaited_in(parcel):
        _set_back(request, at)
    event.of(parcel.code, content=str(content), frames=[frame.tag for frame in frames])
    return Parcel.objects.get(pk=parcel.pk)


@events.rule(
    "arrivals.reopen",
    facts=lambda parcel: [parcel.code],
    again=lambda parcel: Parcel.objects.get(pk=parcel.pk),
)
def reopen(event: Draft, /, *, key: UUID, parcel: Parcel, at: datetime, by: User) -> Parcel:
    """Open a parcel again that was said to be empty: its letter, if it still waits, is not sent.

    Raises StaleState when it is open, or when frames were in it: then it is reopened by undoing
    one of their weigh-ins.
    """
    # An empty parcel's request went back to awaited; here again, it has arrived.
    rows = Parcel.objects.filter(pk=parcel.pk, content=Parcel.Content.EMPTY).exclude(done_at=None)
    if rows.update(content=Parcel.Content.UNOPENED, done_at=None) != 1:
        raise StaleState()
    for request in _awaited_in(parcel):
        _mark_arrived(request)
    event.of(parcel.code)
    return Parcel.objects.get(pk=parcel.pk)


@events.rule(
    "arrivals.unweigh", facts=lambda frame, reason: [frame.tag, reason.strip()], again=_frame
)
def unweigh(
    event: Draft, /, *, key: UUID, frame: ReturnedFrame, reason: str, at: datetime, by: User
) -> ReturnedFrame:
    """Undo a weigh-in before anything was decided: the movement is reversed, the tag is void.

    The parcel opens again, so that the frame can be weighed in anew. Raises StaleState once the
    frame was looked over.
    """
    # The state decides, not what was read before: a look-over that came first has left the source
    # states.
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=sources(FrameState.VOIDED))
    if rows.update(state=FrameState.VOIDED, ended_at=at) != 1:
        raise StaleState()
    asking.refuse_waiting(frame)
    # Nothing in the ledger is deleted. The weigh-in is found by the key that it was derived from,
    # and a movement of its own takes it back.
    undone = ledger.reverse(
        key=uuid.uuid5(key, "unweigh"),
        movement=Movement.objects.get(key=uuid.uuid5(frame.key, "weigh-in")),
        reason=reason,
        at=at,
        actor=by,
    )
    for part in frame.later_parts.filter(undone_at=None):
        ledger.reverse(
            key=uuid.uuid5(key, f"part {part.pk}"),
            movement=Movement.objects.get(key=joined_key(part.key)),
            reason=reason,
            at=at,
            actor=by,
        )
    frame.later_parts.filter(undone_at=None).update(undone_at=at)
    # Without a condition, for it is right whether the parcel was finished or still open.
    Parcel.objects.filter(pk=frame.parcel_id).update(done_at=None)
    _set_back(frame.request, at)
    event.of(frame.tag, movement=undone.number)
    return _frame(frame)


def book_box(*, key: UUID, slips: Sequence[PartnerSlip], at: datetime) -> Parcel:
    """Book a partner's box, in the caller's rule: its slips have come, filed or not."""
    parcel = Parcel.objects.create(code=_fresh_parcel_code(), key=key, request=None, arrived_at=at)
    for slip in slips:
        _mark_in_box(slip, parcel, at)
        if slip.request is not None:
            _mark_arrived(slip.request)
    return parcel


def join_slip(*, request: Request, slip: PartnerSlip, at: datetime) -> None:
    """A slip whose frame came before it was filed: the frame joins its request, with its wish."""
    _mark_arrived(request)
    rows = ReturnedFrame.objects.filter(partner_slip=slip, request=None, ended_at=None)
    first = None
    for frame in rows.exclude(state=FrameState.VOIDED).order_by("pk"):
        filed, is_sure = _as_filed(request, frame.colourway)
        wish = frame.wish or (filed.wish if is_sure else "")
        told = {"number": filed.number, "wish": wish}
        lenses_back = filed.lenses_back or not is_sure
        ReturnedFrame.objects.filter(pk=frame.pk, request=None).update(
            request=request, lenses_back=lenses_back, **told
        )
        first = first or _frame(frame)
    if first is not None:
        letters.enqueue(letter="arrived", request=request, frame=first, at=at)
    elif slip.parcel is not None and slip.parcel.done_at is not None:
        # Its bag was empty: it is awaited, as far as anybody knows.
        _set_back(request, at)


def parcels_of(request: Request) -> QuerySet[Parcel]:
    """Return the parcels in which a request's frames may be: its own, and a partner's box."""
    return Parcel.objects.filter(Q(request=request) | Q(partner_slips__request=request)).distinct()


def _awaited_in(parcel: Parcel) -> list[Request]:
    """The requests whose frames a parcel was booked for."""
    slips = parcel.partner_slips.exclude(request=None).select_related("request")
    found = [slip.request for slip in slips if slip.request is not None]
    return [*([parcel.request] if parcel.request else []), *found]


def _with_slip(weighing: WeighIn) -> WeighIn:
    """What was filed with a slip since it was read counts for it."""
    slip = weighing.slip
    if slip is None and weighing.request is not None:
        slip = PartnerSlip.objects.filter(request=weighing.request).first()
    if slip is None:
        return weighing
    fresh = PartnerSlip.objects.select_related("request").get(pk=slip.pk)
    return replace(weighing, slip=fresh, request=fresh.request)


def _mark_in_box(slip: PartnerSlip, parcel: Parcel, at: datetime) -> None:
    """The slip's frame is here. One that lay in the box unscanned is found at the scale."""
    PartnerSlip.objects.filter(pk=slip.pk, parcel=None).update(parcel=parcel, arrived_at=at)


def _content(*, is_of_frames: bool, is_of_parts: bool) -> Parcel.Content:
    if is_of_frames:
        return Parcel.Content.FRAMES
    return Parcel.Content.PARTS if is_of_parts else Parcel.Content.EMPTY


def joined_key(part_key: UUID) -> UUID:
    """The key of the movement with which a later part joined its frame."""
    return uuid.uuid5(part_key, "join")


def live_frames(parcel: Parcel) -> QuerySet[ReturnedFrame]:
    """Return the parcel's frames whose weigh-in stands, oldest first."""
    return parcel.frames.exclude(state=FrameState.VOIDED).order_by("pk")


def _ask_whether_another(request: Request) -> None:
    # The lock: of twenty scans of one slip at once, one books and the others are asked.
    list(Request.objects.select_for_update().filter(pk=request.pk))
    codes = list(request.parcels.order_by("-pk").values_list("code", flat=True)[:3])
    if codes:
        raise BadInput(
            _("A parcel with this slip is booked already: %(codes)s. Is this another one?")
            % {"codes": ", ".join(codes)},
            field="is_another",
        )


def _mark_arrived(request: Request) -> None:
    """AWAITED, WITHDRAWN or SETTLED becomes ARRIVED; one that has arrived stays as it is."""
    if request.kind != Request.Kind.SEND_BACK:
        raise BadInput(
            _("%(reference)s asks for spare screws; nothing is to be sent to us. Use no slip.")
            % {"reference": request.reference},
            field="request",
        )
    rows = Request.objects.filter(pk=request.pk)
    awaited = rows.filter(state__in=sources(RequestState.ARRIVED))
    if awaited.update(state=RequestState.ARRIVED, ended_at=None) == 1:
        return
    # No row changed: either it had arrived already, which a second parcel makes normal, or it
    # cannot arrive. Only the latter is refused.
    if not rows.filter(state=RequestState.ARRIVED).exists():
        raise StaleState()


def _set_back(request: Request | None, at: datetime) -> None:
    """Where a request stands once no parcel of it is open: awaited or withdrawn as before if none
    had a frame of its sender, settled if all their frames have ended.

    A frame in its parcel that has no story yet may still turn out to be theirs.
    """
    if request is None or parcels_of(request).filter(done_at=None).exists():
        return
    theirs = Q(request=request) | Q(request=None, parcel__request=request)
    if ReturnedFrame.objects.filter(theirs).exclude(state=FrameState.VOIDED).exists():
        settle(request, at)
        return
    ended_at = _withdrawn_at(request)
    before = RequestState.AWAITED if ended_at is None else RequestState.WITHDRAWN
    rows = Request.objects.filter(pk=request.pk, state__in=sources(before))
    rows.update(state=before, ended_at=ended_at)


def _withdrawn_at(request: Request) -> datetime | None:
    """When its customer withdrew it or it lapsed, whatever came since; None if neither."""
    # The request itself no longer knows: its arrival cleared `ended_at`. The audit history does.
    ends = Event.objects.filter(name__in=["intake.withdraw", "intake.lapse"])
    return ends.filter(subject=request.reference).values_list("at", flat=True).last()


def _bad_entries(weighing: WeighIn) -> Iterator[BadInput]:
    """What is wrong beside the mass."""
    if not weighing.cleaned:
        yield not_cleaned()
    if weighing.is_stranger and (weighing.colourway or weighing.batch):
        yield BadInput(
            _("A frame that is not one of ours has no model. Clear one of the two."),
            field="is_stranger",
        )
    if weighing.batch and weighing.colourway not in (None, weighing.batch.colourway):
        yield BadInput(
            _("Batch %(batch)s was moulded as %(colourway)s. Choose the one that is right.")
            % {"batch": weighing.batch.code, "colourway": weighing.batch.colourway},
            field="batch",
        )
    if not 0 <= weighing.mends_before <= MENDS_TYPED_MAX:
        yield BadInput(
            _("Write how often it was mended before, from 0 to %(max)s.")
            % {"max": MENDS_TYPED_MAX},
            field="mends_before",
        )
    if len(weighing.reason.strip()) > REASON_LENGTH_MAX:
        yield BadInput(
            _("Say why, in up to %(max)s characters.") % {"max": REASON_LENGTH_MAX}, field="reason"
        )


def not_cleaned() -> BadInput:
    """Return the refusal of a frame that nobody says is clean."""
    return BadInput(
        _("Wash, disinfect and dry the frame before it is weighed, then tick the box."),
        field="cleaned",
    )


def _bad_number(weighing: WeighIn) -> Iterator[BadInput]:
    """A number that its request does not know, or none where one is needed."""
    if weighing.request is None:
        if weighing.number is not None:
            yield BadInput(_("Without a slip a frame has no number."), field="number")
        return
    if weighing.number is None:
        # What is not ours was not filed as one of ours: its wish is asked for before anything else.
        if weighing.is_stranger:
            return
        colourway = weighing.look
        if not _as_filed(weighing.request, colourway)[1]:
            yield BadInput(
                _("Several frames were filed, with different wishes. Say which one this is."),
                field="number",
            )
    elif weighing.number not in {one.number for one in filed_frames.of(weighing.request)}:
        yield BadInput(
            _("%(reference)s names no frame %(number)s. Choose one that it names.")
            % {"reference": weighing.request.reference, "number": weighing.number},
            field="number",
        )


def _as_filed(request: Request, colourway: Colourway | None) -> tuple[FiledFrame, bool]:
    """Which filed frame this one most probably is, and whether its wish is sure."""
    fitting = filed_frames.fitting(request, filed=filed_frames.of(request), colourway=colourway)
    wishes = {(one.wish, one.lenses_back) for one in fitting}
    return fitting[0], len(wishes) == 1


def _filed(weighing: WeighIn, colourway: Colourway | None) -> FiledFrame | None:
    if weighing.request is None:
        return None
    if weighing.number is None:
        filed, is_sure = _as_filed(weighing.request, colourway)
        return filed if is_sure or not weighing.is_stranger else None
    known = {one.number: one for one in filed_frames.of(weighing.request)}
    return known[weighing.number]


def _bad_masses(weighing_in: WeighIn) -> Iterator[BadInput]:
    """A mass that cannot be read; one that is doubtful and that nobody has confirmed."""
    masses: dict[str, int] = {}
    for field in ("mass", "again"):
        typed = getattr(weighing_in, field)
        if field == "again" and not typed.strip():
            continue
        try:
            masses[field] = weighing.parse(scale=weighing_in.scale, typed=typed, field=field)
        except BadInput as fault:
            yield fault
    mass_mg = masses.get("mass")
    if mass_mg is None:
        return
    asked = "" if weighing_in.reason.strip() else doubtful(weighing_in, mass_mg)
    if not asked:
        return
    # A second reading that was typed but cannot be read has its refusal above. The doubt waits
    # until that one is put right.
    if "again" in masses:
        yield from _bad_second(weighing_in.scale, mass_mg, masses["again"])
    elif not weighing_in.again.strip():
        yield BadInput(asked, field="mass", is_doubtful=True)


def _bad_second(scale: Scale, first_mg: int, second_mg: int) -> Iterator[BadInput]:
    gap_mg = abs(first_mg - second_mg)
    if gap_mg <= reading_limit_mg(scale, first_mg):
        return
    yield BadInput(
        _("The two weighings lie %(gap)s apart. Weigh again, and write what the scale shows.")
        % {"gap": numbers.mass_words(gap_mg)},
        field="again",
        is_doubtful=True,
    )


def doubtful(weighing_in: WeighIn, mass_mg: int) -> str:
    """Return the question about a mass of `mass_mg`; empty where the frame may weigh so much."""
    model, look = weighing_in.model, weighing_in.look
    bills = {} if weighing_in.is_stranger else bills_for(model, look)
    limit_mg = reading_limit_mg(weighing_in.scale, mass_mg)
    doubts = [doubt(mass_mg=mass_mg, limit_mg=limit_mg, bill=bill) for bill in bills.values()]
    if not doubts:
        # Nothing says what it should weigh, so only the way it is written can be doubtful.
        is_odd = mass_mg not in FRAMES_MG and is_ambiguous(weighing_in.mass)
        return _two_ways(mass_mg) if is_odd else ""
    # One model that explains the mass is enough. Which one it is, the mass alone never decides.
    if None in doubts:
        return ""
    if model is None or doubts[0] is None:
        return _fits_no_model(mass_mg)
    return _fits_not(doubts[0], model)


def _two_ways(mass_mg: int) -> str:
    return _(
        "The point or comma may be a decimal sign or a thousands sign. Is it %(mass)s? Weigh it "
        "again and write that too, or say why."
    ) % {"mass": numbers.mass_words(mass_mg)}


def _fits_no_model(mass_mg: int) -> str:
    return _(
        "%(mass)s fits none of our models, whole or with pieces missing. Weigh it again and write "
        "that too, or say why."
    ) % {"mass": numbers.mass_words(mass_mg)}


def _fits_not(asked: Doubt, model: FrameModel) -> str:
    figures = {
        "mass": numbers.mass_words(asked.mass_mg),
        "share": numbers.fixed(asked.share_ppm / PERCENT_PPM, 1),
        "model": model.name,
        "whole": numbers.mass_words(asked.whole_mg),
    }
    if asked.likely_mg is None:
        return (
            _(
                "%(mass)s is %(share)s %% of a whole %(model)s (%(whole)s), and no missing piece "
                "explains it. Weigh it again and write that too, or say why."
            )
            % figures
        )
    return _(
        "%(mass)s is %(share)s %% of a whole %(model)s (%(whole)s). Is it %(likely)s? Put the mass "
        "right; or weigh it again and write that too, or say why."
    ) % (figures | {"likely": numbers.mass_words(asked.likely_mg)})


def _explained(weighing_in: WeighIn, reading: Reading, at: datetime) -> dict[str, object]:
    """What stands behind a doubtful mass, for the event: the second reading, or the reason."""
    if not (weighing_in.again or weighing_in.reason):
        return {}
    data: dict[str, object] = {}
    # A reason typed beside a mass that nobody doubts is noise, and free text is kept as little as
    # possible.
    if doubtful(weighing_in, reading.mass_mg):
        data["reason"] = weighing_in.reason.strip()
    if weighing_in.again.strip():
        # The ledger goes by the first reading. The second is stored as evidence and moves nothing.
        second = weighing.read(
            scale=weighing_in.scale, typed=weighing_in.again, at=at, field="again"
        )
        data["second_reading"] = second.pk
    return data


def _hold_open(parcel: Parcel) -> None:
    """Touch the parcel's row, so that nobody finishes it while this frame is weighed in."""
    # On PostgreSQL the update locks the row until the transaction ends; on SQLite, where there are
    # no row locks, the first write holds the whole database.
    rows = Parcel.objects.filter(pk=parcel.pk, done_at=None)
    if rows.update(content=Parcel.Content.FRAMES) != 1:
        raise StaleState(_("This parcel is finished. Book another one for what else was in it."))


def _made_frame(key: UUID, parcel: Parcel, weighing: WeighIn, at: datetime) -> ReturnedFrame:
    reading = _reading(weighing, at)
    colourway = weighing.look
    filed = _filed(weighing, colourway)
    return ReturnedFrame.objects.create(
        tag=_fresh_tag(),
        key=key,
        parcel=parcel,
        request=weighing.request,
        partner_slip=weighing.slip,
        number=filed.number if filed else None,
        colourway=colourway,
        batch=weighing.batch,
        is_stranger=weighing.is_stranger,
        state=FrameState.WEIGHED,
        wish=filed.wish if filed else "",
        # Where nobody can tell, lenses are kept: what is thrown away does not come back.
        lenses_back=filed.lenses_back if filed else weighing.request is not None,
        # A weigh-in is refused without the word that the frame is clean, so its moment serves for
        # both.
        cleaned_at=at,
        reading=reading,
        massfit=massfit_of(reading=reading, colourway=colourway, is_stranger=weighing.is_stranger),
        weighed_at=at,
        promised_by=_promised_by(at),
        mends_before=weighing.mends_before,
    )


def _reading(weighing_in: WeighIn, at: datetime) -> Reading:
    reading = weighing.read(scale=weighing_in.scale, typed=weighing_in.mass, at=at)
    if reading.mass_mg < 1:
        raise BadInput(_("A frame weighs more than nothing. Read the scale again."), field="mass")
    return reading


def _promised_by(at: datetime) -> date:
    workshop = Workshop.the()
    return masters.promised_day(workshop, at, workshop.promise_days)


def _put_on_shelf(key: UUID, frame: ReturnedFrame, at: datetime, by: User) -> Movement:
    line = ledger.Line(
        places.mass(PlaceKind.WEARERS),
        places.mass(PlaceKind.ARRIVALS),
        frame.reading.mass_mg,
        frame.reading,
    )
    return ledger.post(
        # Derived from the client's key, which the frame keeps: an undo finds the movement without a
        # column for it.
        key=uuid.uuid5(key, "weigh-in"),
        kind="weigh_in",
        lines=[line],
        happened_at=at,
        story=ledger.Story(subject=frame.tag, actor=by),
    )


def _tell_arrived(frame: ReturnedFrame, at: datetime) -> None:
    """One letter per request and parcel, with the first frame that stands on the scale.

    Who brought it to the counter holds the receipt already.
    """
    if frame.request is None or WalkIn.objects.filter(request=frame.request).exists():
        return
    # This frame is in the table already, so it must not count as the one before it.
    before = live_frames(frame.parcel).filter(request=frame.request).exclude(pk=frame.pk)
    if not before.exists():
        letters.enqueue(letter="arrived", request=frame.request, frame=frame, at=at)


def _tell_empty(parcel: Parcel, frames: Iterable[ReturnedFrame], at: datetime) -> None:
    """Owed at each finishing, for the parcel may have been opened again; sent once a parcel."""
    requests = {frame.request for frame in frames}
    # A frame without a story may be that of the parcel's own sender. In a box each bag has a slip.
    awaited = [] if parcel.request and None in requests else _awaited_in(parcel)
    for request in awaited:
        if request not in requests:
            letters.enqueue(letter="empty", request=request, at=at, parcel=parcel)


def _fresh_parcel_code() -> str:
    # The look spares a clash; should two draw one code at the same moment, the unique column
    # refuses the second.
    while Parcel.objects.filter(code=(code := codes.new_code("P"))).exists():
        continue
    return code


def _fresh_tag() -> str:
    while ReturnedFrame.objects.filter(tag=(tag := codes.new_code("F"))).exists():
        continue
    return tag
