"""Parts promised ahead: a donor that waits to be stripped keeps a component for another frame.

Approving moves nothing: every gram stays where the ledger has it, on the donor. When the donor is
stripped and the part kept, the ledger counts it into its bin as always, and it is reserved for the
frame in the same transaction. That frame is then looked over again, or mended.
"""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final
from uuid import UUID

from django.db import models
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, Conflict, StaleState
from inventory.events import Draft
from inventory.models import Part, Reservation
from inventory.models.places import ReservationState
from inventory.parts import queries as part_stock
from inventory.parts import rules as stock
from returns.bench.queries.frames import plan_of
from returns.models import PartPromise, ReturnedFrame
from returns.salvage.queries import donors as salvage
from returns.salvage.queries import lacking
from returns.salvage.queries.lacking import Gift
from returns.story.sums.states import FrameState

if TYPE_CHECKING:
    from django.contrib.auth.models import User

State = PartPromise.State
HOLDING: Final = (State.OPEN, State.KEPT)


@dataclass(frozen=True, slots=True, kw_only=True)
class Match:
    """The donor's component that is to be kept for the frame."""

    donor: ReturnedFrame
    component: str
    frame: ReturnedFrame

    def facts(self) -> list[Any]:
        """Return what was asked, for the fingerprint."""
        return [self.donor.tag, self.component, self.frame.tag]


@events.rule(
    "salvaging.approve",
    facts=lambda match: match.facts(),
    again=lambda key: PartPromise.objects.get(key=key),
)
def approve(event: Draft, /, *, key: UUID, match: Match, at: datetime, by: User) -> PartPromise:
    """Note that the donor's component is kept for the frame.

    Raises BadInput when the part does not fit or the frame does not lack it, Conflict when either
    is promised already, StaleState when one of the two no longer waits.
    """
    # Donor first, then frame. No frame is both, so two approvals never wait for each other
    # crosswise.
    _hold(match.donor, (FrameState.TO_STRIP,))
    _hold(match.frame, lacking.WAITING)
    lapsed = _end_dead(at)
    _refuse_promised(match)
    gift = _fitting(match)
    promise = PartPromise.objects.create(
        key=key,
        donor=match.donor,
        component=match.component,
        frame=match.frame,
        part=_part(gift),
        made_at=at,
        made_by=by,
    )
    event.of(match.frame.tag, **_detail(promise), lapsed=lapsed)
    return promise


@events.rule(
    "salvaging.withdraw",
    facts=lambda donor, component: [donor.tag, component],
    again=lambda event: PartPromise.objects.get(pk=event.detail["promise"]),
)
def withdraw(
    event: Draft, /, *, key: UUID, donor: ReturnedFrame, component: str, at: datetime, by: User
) -> PartPromise:
    """Take a promise back before the donor is stripped; both frames are free for another match.

    Raises StaleState when there is no open promise of that component.
    """
    rows = PartPromise.objects.filter(donor=donor, component=component, state=State.OPEN)
    # Read for its id alone; the update beneath decides, by its state, whether it was still open.
    promise = rows.select_related("frame").first()
    if promise is None or rows.update(state=State.WITHDRAWN, ended_at=at) != 1:
        raise StaleState(_("There is no open promise of this part."))
    event.of(promise.frame.tag, promise=promise.pk, donor=donor.tag)
    return PartPromise.objects.get(pk=promise.pk)


def keep(
    *, donor: ReturnedFrame, salvaged: Mapping[Part, int], at: datetime, by: User
) -> list[PartPromise]:
    """Do the part of a strip-down that comes after its parts are in their bins: each promised one
    that was kept is reserved for its frame; the other promises come to nothing. Returns those kept.

    Call inside the strip-down's transaction. Raises StaleState when somebody turned a promise
    since.
    """
    # Pieces are dealt out one by one, so that two promises never count on the same one.
    left = Counter({part.pk: pieces for part, pieces in salvaged.items()})
    live = set(lacking.open_promises().filter(donor=donor).values_list("pk", flat=True))
    rows = PartPromise.objects.filter(donor=donor, state=State.OPEN)
    kept = []
    for promise in rows.select_related("frame", "part"):
        wanted = promise.pk in live and left[promise.part_id] > 0
        is_kept = wanted and _reserve(promise, at)
        left[promise.part_id] -= is_kept
        state = State.KEPT if is_kept else State.LAPSED
        _turn(promise, State.OPEN, state, at)
        name = "keep" if is_kept else "lapse"
        _record_at_strip(promise, name, at=at, actor=by)
        kept += [promise] if is_kept else []
    return kept


def take_up(
    *, donor: ReturnedFrame, stripped_at: datetime, at: datetime, by: User
) -> list[PartPromise]:
    """Do the part of an undo that comes once the parts are back: what the strip-down ended is
    promised again. Returns the promises that hold again.

    A promise stays ended when its frame no longer lacks the part, or got another promise since.
    Call inside the undo's transaction, once the donor waits to be stripped again. Raises StaleState
    when somebody turned a promise since.
    """
    # The strip-down ended its promises at its own moment; what lapsed before has another and stays
    # so.
    rows = PartPromise.objects.filter(donor=donor, state=State.LAPSED, ended_at=stripped_at)
    covered = set(PartPromise.objects.filter(state=State.OPEN).values_list("frame", "component"))
    lacks = {(one.frame.pk, one.component) for one in lacking.shortage().lacks} - covered
    taken_up = []
    for promise in rows.select_related("frame", "part"):
        if (promise.frame_id, promise.component) not in lacks:
            continue
        _turn(promise, State.LAPSED, State.OPEN, None)
        _record_at_strip(promise, "take_up", at=at, actor=by)
        taken_up.append(promise)
    return taken_up


def _turn(promise: PartPromise, source: State, to: State, ended_at: datetime | None) -> None:
    rows = PartPromise.objects.filter(pk=promise.pk, state=source)
    if rows.update(state=to, ended_at=ended_at) != 1:
        raise StaleState()


def _record_at_strip(promise: PartPromise, name: str, *, at: datetime, actor: User) -> None:
    """Record it, with a new key each time: a donor may be stripped again after an undo."""
    events.record(
        key=uuid.uuid4(),
        name=f"salvaging.{name}",
        subject=promise.frame.tag,
        facts=[promise.pk],
        at=at,
        actor=actor,
        detail=_detail(promise),
    )


def _detail(promise: PartPromise) -> dict[str, Any]:
    return {"promise": promise.pk, "donor": promise.donor.tag, "component": promise.component}


def _reserve(promise: PartPromise, at: datetime) -> bool:
    """Reserve one more piece, up to what the frame's plan needs. False when none is free: pieces
    that a count found missing were promised before, and this one makes good for them."""
    part, tag = promise.part, promise.frame.tag
    plan = plan_of(promise.frame.gradings.first()) or {}
    rows = Reservation.objects.filter(part=part, subject=tag, state=ReservationState.OPEN)
    # An earlier promise may have reserved a piece of the same part: one reservation grows, no
    # second is made.
    there = rows.aggregate(total=models.Sum("pieces"))["total"] or 0
    if there >= plan.get("parts", {}).get(part.code, 1):
        return True
    if part_stock.available(part) < 1:
        return False
    if not there:
        stock.reserve(part=part, pieces=1, subject=tag, at=at)
        return True
    return rows.update(pieces=models.F("pieces") + 1) == 1


def _hold(frame: ReturnedFrame, states: tuple[FrameState, ...]) -> None:
    """Touch the row, so that two hands at one frame go one after the other."""
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=states)
    # A write that changes nothing takes the row's lock on both databases, where select_for_update
    # does nothing on SQLite; and its condition tells whether the frame still waits.
    if rows.update(state=models.F("state")) != 1:
        raise StaleState()


def _end_dead(at: datetime) -> list[int]:
    """End the promises whose donor or frame has gone another way; they bar no new one."""
    lacks = {(one.frame.pk, one.component) for one in lacking.shortage().lacks}
    # Judged in Python: what a frame lacks follows from its plan and the bins, which no query can
    # say.
    live = {one.pk for one in lacking.open_promises() if (one.frame_id, one.component) in lacks}
    dead = PartPromise.objects.filter(state=State.OPEN).exclude(pk__in=live)
    ended = sorted(dead.values_list("pk", flat=True))
    dead.update(state=State.LAPSED, ended_at=at)
    return ended


def _refuse_promised(match: Match) -> None:
    rows = PartPromise.objects.filter(component=match.component)
    if rows.filter(donor=match.donor, state__in=HOLDING).exists():
        raise Conflict(_("This part is promised already. Withdraw that promise first."))
    if rows.filter(frame=match.frame, state=State.OPEN).exists():
        raise Conflict(_("A part is promised to this frame already. Withdraw that promise first."))


def _fitting(match: Match) -> Gift:
    """Return the gift, provided that it is sound, lacking there, and of the same make."""
    lacks = [
        one
        for one in lacking.shortage().lacks
        if one.frame.pk == match.frame.pk and one.component == match.component
    ]
    if not lacks:
        raise BadInput(_("This frame does not lack that part."), field="component")
    gifts = [
        one
        for one in lacking.gifts()
        if one.donor.pk == match.donor.pk and one.piece.key == match.component
    ]
    if not gifts:
        raise BadInput(_("The donor has no sound part of that kind to give."), field="donor")
    if not salvage.need(lacks[0]).is_met_by(salvage.donor(gifts[0], 0)):
        raise BadInput(_("The donor's part is of another model or colour."), field="donor")
    return gifts[0]


def _part(gift: Gift) -> Part:
    part = gift.piece.part
    if part is None:
        raise BadInput(_("The donor has no sound part of that kind to give."), field="donor")
    return part
