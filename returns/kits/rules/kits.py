"""Spare kits: what is in one, promising it from stock, posting it, and when it never arrived."""

from __future__ import annotations

import uuid
from contextlib import suppress
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, NotEnough, StaleState
from inventory.events import Draft
from inventory.ledger.rules import ledger, places
from inventory.models import PlaceKind, Reservation, Workshop
from inventory.models.places import ReservationState
from inventory.parts import rules as stock
from returns.customers.rules import same_person
from returns.kits import queries as kit_stock
from returns.letters import rules as letters
from returns.models import Colourway, Dispatch, FrameModel, Policy, Request
from returns.story.sums import codes, states
from returns.story.sums.states import RequestState

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def refuse_over_limit(*, model: FrameModel, email: str, at: datetime) -> None:
    """Refuse more kits of a model for one email than the policy allows in its span of days.

    Must run in the transaction that files the request. The policy's row is the lock, so two
    requests sent at once are counted one after the other.
    """
    # Counting first and filing after is a race: without the lock two requests sent at once would
    # both be the last one allowed. SQLite ignores it, and its writers take turns anyhow.
    policy = Policy.objects.select_for_update().get(pk=Policy.the().pk)
    since = at - timedelta(days=policy.kits_days)
    rows = Request.objects.filter(
        same_person(email),
        kind=Request.Kind.SCREWS,
        colourway__model=model,
        filed_at__gt=since,
    ).exclude(state=RequestState.WITHDRAWN.value)
    if rows.count() >= policy.kits_max:
        raise BadInput(
            _(
                "We post at most %(most)s kits per frame in %(days)s days. If the screws work "
                "loose again, send the frame back to us, or write to %(email)s."
            )
            % {"most": policy.kits_max, "days": policy.kits_days, "email": Workshop.the().email},
            field="colourway",
        )


def reserve(*, colourway: Colourway, subject: str, at: datetime) -> RequestState:
    """Promise a whole kit to a story, or nothing of it. Returns the state this leads to."""
    pieces = kit_stock.contents_for(colourway)
    if not pieces:
        raise BadInput(_("There is no spare kit for this frame."), field="colourway")
    try:
        with transaction.atomic():
            # In one order everywhere, so that two kits never wait for each other.
            for part in sorted(pieces, key=lambda part: part.pk):
                stock.reserve(part=part, pieces=pieces[part], subject=subject, at=at)
    except NotEnough:
        # The inner transaction has taken back the parts that were promised before one ran out.
        return RequestState.WAITING_STOCK
    return RequestState.RESERVED


@transaction.atomic
def reserve_waiting(at: datetime) -> list[Request]:
    """Promise kits to those who wait, the oldest first; call it when parts have come in.

    A repeat finds nobody waiting, or no stock, and changes nothing.
    """
    served = []
    for request in kit_stock.waiting():
        # Somebody else may be doing the same at this moment: theirs counts then.
        with suppress(StaleState), transaction.atomic():
            if _reserve_waiting(request, at):
                served.append(request)
    return served


def _reserve_waiting(request: Request, at: datetime) -> bool:
    state = reserve(colourway=request.kit_for, subject=request.reference, at=at)
    if state is not RequestState.RESERVED:
        return False
    _step(request, RequestState.RESERVED, promised_by=kit_stock.promise_day(at))
    facts = ["kits.reserve", request.reference]
    events.record(
        key=uuid.uuid4(), name="kits.reserve", subject=request.reference, facts=facts, at=at
    )
    letters.enqueue(letter="kit_reserved", request=request, at=at)
    return True


def _again(request: Request) -> Request:
    return Request.objects.get(pk=request.pk)


@events.rule(
    "kits.post",
    facts=lambda request: ["post", request.reference],
    again=lambda key: Dispatch.objects.get(key=key),
)
def post(event: Draft, /, *, key: UUID, request: Request, at: datetime, by: User) -> Dispatch:
    """Post the kit: its pieces leave the bin now, as promised.

    Raises:
        StaleState: it is not a reserved kit (any more).
        Conflict: the person's address is erased.
        NotEnough: the bin holds less than was promised; count it, then `put_back`.
    """
    if request.person is None or request.person.erased_at is not None:
        raise Conflict(_("There is no address left to post this to."))
    dispatch = _gone(key, request, at, by)
    event.of(request.reference, dispatch=dispatch.code)
    letters.enqueue(letter="kit_posted", request=request, at=at)
    return dispatch


@events.rule(
    "kits.hand_over",
    facts=lambda request: ["hand_over", request.reference],
    again=lambda key: Dispatch.objects.get(key=key),
)
def hand_over(event: Draft, /, *, key: UUID, request: Request, at: datetime, by: User) -> Dispatch:
    """Hand the kit over at the counter: its pieces leave the bin, and its story is over.

    Raises StaleState when it is not a reserved kit (any more), NotEnough as in `post`.
    """
    dispatch = _gone(key, request, at, by)
    Dispatch.objects.filter(pk=dispatch.pk).update(at_counter=True)
    _step(request, RequestState.SETTLED, ended_at=at)
    event.of(request.reference, dispatch=dispatch.code)
    letters.enqueue(letter="handed_over", request=request, at=at)
    return Dispatch.objects.get(pk=dispatch.pk)


def _gone(key: UUID, request: Request, at: datetime, by: User) -> Dispatch:
    """The pieces of a reserved kit leave their bins."""
    # The conditional update comes first: of two hands the slower is refused before a piece moves.
    _step(request, RequestState.POSTED, posted_at=at)
    lines = [
        ledger.Line(places.bin_of(promise.part), places.pieces(PlaceKind.WEARERS), promise.pieces)
        for promise in _promises(request)
    ]
    story = ledger.Story(subject=request.reference, actor=by)
    ledger.post(
        # The event has the key itself; the derived one is the same on every repeat.
        key=uuid.uuid5(key, "kit"),
        kind="post_kit",
        lines=lines,
        happened_at=at,
        story=story,
    )
    stock.use(subject=request.reference)
    return Dispatch.objects.create(
        code=codes.new_code("D"), key=key, kind=Dispatch.Kind.KIT, request=request, posted_at=at
    )


def _promises(request: Request) -> list[Reservation]:
    rows = Reservation.objects.filter(subject=request.reference, state=ReservationState.OPEN)
    return list(rows.select_related("part").order_by("part_id"))


@events.rule("kits.put_back", facts=lambda request: ["put_back", request.reference], again=_again)
def put_back(event: Draft, /, *, key: UUID, request: Request, at: datetime, by: User) -> Request:
    """Put a kit back to wait for stock, because the bin holds less than the books said."""
    _step(request, RequestState.WAITING_STOCK)
    stock.release(subject=request.reference)
    event.of(request.reference)
    letters.enqueue(letter="waiting_stock", request=request, at=at)
    return request


@events.rule(
    "kits.report_missing", facts=lambda request: ["missing", request.reference], again=_again
)
def report_missing(event: Draft, /, *, key: UUID, request: Request, at: datetime) -> Request:
    """Record that a posted kit never arrived, as its customer says; a bench hand decides next."""
    refuse_long_posted(request.posted_at, at)
    _step(request, RequestState.REPORTED_MISSING)
    # Only the latest: an earlier one was reported in its own time, and posted again.
    last = request.dispatches.filter(kind=Dispatch.Kind.KIT).order_by("-posted_at").first()
    if last is not None:
        Dispatch.objects.filter(pk=last.pk).update(missing_reported_at=at)
    event.of(request.reference)
    letters.enqueue(letter="missing", request=request, at=at)
    return request


def refuse_long_posted(posted_at: datetime | None, at: datetime) -> None:
    """Refuse a report that comes long after the posting: StaleState, with whom to write to."""
    if kit_stock.long_posted(posted_at, at):
        words = _("It was posted more than %(days)s days ago. Please write to us: %(email)s")
        raise StaleState(
            words % {"days": kit_stock.SETTLED_AFTER.days, "email": Workshop.the().email}
        )


@events.rule("kits.repost", facts=lambda request: ["repost", request.reference], again=_again)
def repost(event: Draft, /, *, key: UUID, request: Request, at: datetime, by: User) -> Request:
    """Queue a missing kit to be posted once more: reserved, or waiting when stock is short."""
    state = reserve(colourway=request.kit_for, subject=request.reference, at=at)
    rows = Request.objects.filter(pk=request.pk, state=RequestState.REPORTED_MISSING.value)
    if rows.update(state=state.value, promised_by=kit_stock.promise_day(at)) != 1:
        raise StaleState()
    request.refresh_from_db()
    event.of(request.reference)
    reserved = state is RequestState.RESERVED
    letters.enqueue(letter="kit_reserved" if reserved else "waiting_stock", request=request, at=at)
    return request


@events.rule("kits.turned_up", facts=lambda request: ["turned_up", request.reference], again=_again)
def turned_up(event: Draft, /, *, key: UUID, request: Request, at: datetime, by: User) -> Request:
    """End the story of a kit that was reported missing and did arrive after all."""
    # Not `_step`, which would take a kit that was posted and never reported as well.
    rows = Request.objects.filter(pk=request.pk, state=RequestState.REPORTED_MISSING.value)
    if rows.update(state=RequestState.SETTLED.value, ended_at=at) != 1:
        raise StaleState()
    request.refresh_from_db()
    event.of(request.reference)
    return request


@transaction.atomic
def settle_posted(at: datetime) -> int:
    """End the story of kits posted long enough ago that nobody will report them missing."""
    old = Request.objects.filter(
        kind=Request.Kind.SCREWS,
        state=RequestState.POSTED.value,
        posted_at__lte=at - kit_stock.SETTLED_AFTER,
    )
    # One statement, and the state is in its condition: what was reported missing meanwhile stays
    # open.
    return old.update(state=RequestState.SETTLED.value, ended_at=at)


def _step(request: Request, target: RequestState, **changes: object) -> None:
    """Move a kit request one step, or StaleState when it is not where the step starts."""
    sources = [state.value for state in states.sources(target)]
    rows = Request.objects.filter(pk=request.pk, kind=Request.Kind.SCREWS, state__in=sources)
    if rows.update(state=target.value, **changes) != 1:
        raise StaleState()
    request.refresh_from_db()
