"""A part that came later joins its frame, and is taken out again when it was another's.

Its mass is posted from the wearer to where the frame lies, under the frame's tag. So the next
weighing, the strip-down and the report find frame and part together.
"""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import datetime
from math import isqrt
from typing import TYPE_CHECKING, Final
from uuid import UUID

from django.db.models import F
from django.utils.translation import gettext as _

from inventory import events
from inventory.errors import BadInput, StaleState, raise_all
from inventory.events import Draft
from inventory.furniture import numbers
from inventory.ledger.queries import balances
from inventory.ledger.rules import ledger, places
from inventory.models import Movement, Place, PlaceKind, Reading, Scale
from inventory.weighing import rules as weighing
from returns.arriving import rules as arriving
from returns.arriving.queries.massfits import massfit_of
from returns.bench import rules as scanned_frames
from returns.bench.queries.frames import whereabouts
from returns.models import LaterPart, Parcel, ReturnedFrame
from returns.models.catalogue import ComponentKey
from returns.story.sums.states import FrameState

if TYPE_CHECKING:
    from django.contrib.auth.models import User

JOINABLE: Final = frozenset(
    {
        FrameState.WEIGHED,
        FrameState.HELD,
        FrameState.TO_MEND,
        FrameState.MENDING,
        FrameState.TO_STRIP,
        FrameState.TO_RETURN,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class PartIn:
    """What the bench says while the part lies on the scale. `scanned` is the frame's own tag, and
    `reason` is asked for where frame and part together weigh more than such a frame can.
    """

    parcel: Parcel
    frame: ReturnedFrame
    scanned: str
    scale: Scale
    mass: str
    cleaned: bool
    component: str = ""
    reason: str = ""

    def facts(self) -> list[object]:
        """What was asked, for the fingerprint."""
        told = [self.mass.strip(), self.cleaned, self.component, self.reason.strip()]
        return [self.parcel.code, self.frame.tag, self.scanned.strip(), self.scale.pk, *told]


@events.rule(
    "joining.join",
    facts=lambda part: part.facts(),
    again=lambda key: LaterPart.objects.get(key=key),
)
def join(event: Draft, /, *, key: UUID, part: PartIn, at: datetime, by: User) -> LaterPart:
    """Weigh a part that came later and let it join its frame, which keeps its state.

    Raises BadInput naming each field, WrongScan for another frame's tag, StaleState when the parcel
    is finished or the frame can take no part any more; the message says what to do then.
    """
    scanned_frames.require(part.scanned, part.frame)
    frame, place = _held(part.frame)
    raise_all(_faults(part, frame))
    _hold_open(part.parcel)
    reading = weighing.read(scale=part.scale, typed=part.mass, at=at)
    if reading.mass_mg < 1:
        raise BadInput(_("A part weighs more than nothing. Read the scale again."), field="mass")
    row = LaterPart.objects.create(
        key=key,
        frame=frame,
        parcel=part.parcel,
        component=part.component,
        reading=reading,
        joined_at=at,
    )
    movement = ledger.post(
        key=_movement_key(row),
        kind="join_part",
        lines=[ledger.Line(places.mass(PlaceKind.WEARERS), place, reading.mass_mg, reading)],
        happened_at=at,
        story=ledger.Story(subject=frame.tag, actor=by),
    )
    _weigh_up(frame)
    event.of(
        frame.tag,
        parcel=part.parcel.code,
        part=row.pk,
        mass_mg=reading.mass_mg,
        movement=movement.number,
        **({"reason": part.reason.strip()} if part.reason.strip() else {}),
    )
    return row


@events.rule(
    "joining.take_out",
    facts=lambda part, reason: [part.pk, reason.strip()],
    again=lambda part: LaterPart.objects.get(pk=part.pk),
)
def take_out(
    event: Draft, /, *, key: UUID, part: LaterPart, reason: str, at: datetime, by: User
) -> LaterPart:
    """Take a part out of its frame that was another's: the movement is reversed, its parcel opens.

    Raises BadInput without a reason, StaleState when it is out already or its frame has been
    carried on, stripped or posted since.
    """
    frame, place = _held(part.frame)
    movement = Movement.objects.get(key=_movement_key(part))
    there = balances.held_mg(subject=frame.tag, kind=PlaceKind(place.kind))
    was_put = movement.postings.get().target
    if was_put.kind != place.kind or there < part.reading.mass_mg:
        raise StaleState(_("The frame has been carried on since. The next weighing shows it."))
    rows = LaterPart.objects.filter(pk=part.pk, undone_at=None)
    if rows.update(undone_at=at) != 1:
        raise StaleState()
    undone = ledger.reverse(
        key=uuid.uuid5(key, "take-out"), movement=movement, reason=reason, at=at, actor=by
    )
    Parcel.objects.filter(pk=part.parcel_id).update(done_at=None)
    _weigh_up(frame)
    event.of(frame.tag, part=part.pk, movement=undone.number)
    return LaterPart.objects.get(pk=part.pk)


def _movement_key(part: LaterPart) -> UUID:
    return arriving.joined_key(part.key)


def _held(frame: ReturnedFrame) -> tuple[ReturnedFrame, Place]:
    """Hold the frame's row. Returns it as it is now, with the place where most of it lies."""
    rows = ReturnedFrame.objects.filter(pk=frame.pk, state__in=JOINABLE)
    held = rows.update(state=F("state"))
    fresh = ReturnedFrame.objects.select_related("colourway__model", "reading__scale").get(
        pk=frame.pk
    )
    lies = whereabouts(fresh.tag)
    if held != 1 or not lies:
        raise StaleState(_what_to_do(fresh))
    return fresh, max(lies, key=lambda place: lies[place])


def _what_to_do(frame: ReturnedFrame) -> str:
    by_itself = _(
        "Weigh the part in by itself, as a frame under the same slip: it goes its own way."
    )
    if frame.state == FrameState.GROUND:
        return _("This frame is ground already.") + " " + by_itself
    if frame.state == FrameState.BOXED:
        return _(
            "This frame is taken apart and lies in its box. Undo the strip-down first if the box "
            "is as it left it; else weigh the part in by itself, as a frame under the same slip."
        )
    if frame.state == FrameState.MENDED:
        return _("This frame is mended and weighed out. Put the part beside it when you post it.")
    return _("This frame is not in the house any more.") + " " + by_itself


def _hold_open(parcel: Parcel) -> None:
    rows = Parcel.objects.filter(pk=parcel.pk, done_at=None)
    if rows.update(done_at=None) != 1:
        raise StaleState(_("This parcel is finished. Book another one for what else was in it."))
    # A parcel that holds frames too stays one of frames.
    rows.filter(content=Parcel.Content.UNOPENED).update(content=Parcel.Content.PARTS)


def _faults(part: PartIn, frame: ReturnedFrame) -> list[BadInput]:
    found = []
    if not part.cleaned:
        found.append(arriving.not_cleaned())
    if part.component and part.component not in ComponentKey.values:
        found.append(BadInput(_("Choose a part of the list."), field="component"))
    if len(part.reason.strip()) > arriving.REASON_LENGTH_MAX:
        words = _("Say why, in up to %(max)s characters.") % {"max": arriving.REASON_LENGTH_MAX}
        found.append(BadInput(words, field="reason"))
    try:
        mass_mg = weighing.parse(scale=part.scale, typed=part.mass)
    except BadInput as fault:
        return [*found, fault]
    if not part.reason.strip():
        found += _too_heavy(part, frame, mass_mg)
    return found


def _too_heavy(part: PartIn, frame: ReturnedFrame, mass_mg: int) -> list[BadInput]:
    """Doubt a part with which the frame would weigh more than any such frame."""
    if frame.colourway is None or frame.is_stranger:
        return []
    together = _together_mg(frame) + mass_mg
    told = arriving.WeighIn(scale=part.scale, mass="", cleaned=True, colourway=frame.colourway)
    if together <= frame.reading.mass_mg or not arriving.doubtful(told, together):
        return []
    words = _(
        "With this part the frame would weigh %(mass)s, which fits no %(model)s. Is it of this "
        "frame, and is the mass right? If so, say why."
    ) % {"mass": numbers.mass_words(together), "model": frame.colourway.model.name}
    return [BadInput(words, field="reason")]


def _together_mg(frame: ReturnedFrame) -> int:
    """What frame and joined parts weighed when they came."""
    parts = frame.later_parts.filter(undone_at=None).select_related("reading")
    return frame.reading.mass_mg + sum(part.reading.mass_mg for part in parts)


def _weigh_up(frame: ReturnedFrame) -> None:
    """Say anew what the mass says, now of frame and parts together."""
    parts = frame.later_parts.filter(undone_at=None).select_related("reading")
    readings = [frame.reading, *(part.reading for part in parts)]
    together = Reading(
        scale=frame.reading.scale,
        mass_mg=sum(one.mass_mg for one in readings),
        # Own errors add in squares, the scale's common error in full: the safe side.
        u_own_ug=isqrt(sum(one.u_own_ug**2 for one in readings)),
        u_shared_ug=sum(one.u_shared_ug for one in readings),
        u_local_ug=sum(one.u_local_ug for one in readings),
        u_drift_ug=sum(one.u_drift_ug for one in readings),
        error_ug=sum(one.error_ug for one in readings),
    )
    fit = massfit_of(reading=together, colourway=frame.colourway, is_stranger=frame.is_stranger)
    ReturnedFrame.objects.filter(pk=frame.pk).update(massfit=fit)
