"""Spare parts: receiving, counting, and promising them to a story before they leave the bin."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import transaction
from django.utils.translation import gettext as _

from inventory.errors import BadInput, NotEnough
from inventory.ledger.rules import ledger, places
from inventory.models import Balance, Movement, Part, PlaceKind, Reservation
from inventory.models.places import ReservationState
from inventory.parts import queries as part_stock

if TYPE_CHECKING:
    from django.contrib.auth.models import User


@transaction.atomic
def receive(
    *,
    key: UUID,
    part: Part,
    pieces: int,
    cost_minor: int,
    at: datetime,
    actor: User | None = None,
) -> Movement:
    """Parts from a supplier go into their bin."""
    line = ledger.Line(places.pieces(PlaceKind.SUPPLIERS), places.bin_of(part), pieces)
    story = ledger.Story(subject=part.code, actor=actor, cost_minor=cost_minor)
    return ledger.post(key=key, kind="receive_parts", lines=[line], happened_at=at, story=story)


@transaction.atomic
def count(
    *,
    key: UUID,
    part: Part,
    counted: int,
    reason: str,
    at: datetime,
    actor: User | None = None,
) -> Movement | None:
    """Put the bin right after a count. Returns None when the count agrees with the ledger."""
    if counted < 0:
        raise BadInput(_("A count cannot be below zero."), field="counted")
    earlier = Movement.objects.filter(key=key).first()
    if earlier is not None:
        return earlier
    gap = counted - part_stock.held(part)
    if gap == 0:
        return None
    bin_, outside = places.bin_of(part), places.pieces(PlaceKind.DIFFERENCE)
    source, target = (outside, bin_) if gap > 0 else (bin_, outside)
    story = ledger.Story(subject=part.code, actor=actor, reason=reason)
    line = ledger.Line(source, target, abs(gap))
    return ledger.post(key=key, kind="count_parts", lines=[line], happened_at=at, story=story)


@transaction.atomic
def reserve(*, part: Part, pieces: int, subject: str, at: datetime) -> Reservation:
    """Promise pieces to a story. NotEnough when the bin's unpromised pieces do not suffice.

    A repeat for the same story and part returns the promise already made.
    """
    existing = Reservation.objects.filter(
        part=part, subject=subject, state=ReservationState.OPEN
    ).first()
    if existing is not None:
        return existing
    # The bin's balance row is the lock: two stories cannot both see the last pieces.
    place = places.bin_of(part)
    list(Balance.objects.select_for_update().filter(pk=place.pk))
    free = part_stock.available(part)
    if free < pieces:
        raise NotEnough(
            _("Only %(free)s of %(part)s are free; %(wanted)s are asked for.")
            % {"free": free, "part": part.name, "wanted": pieces},
            part=part.code,
            held=free,
            wanted=pieces,
        )
    return Reservation.objects.create(part=part, pieces=pieces, subject=subject, made_at=at)


def release(*, subject: str) -> int:
    """Give back every open promise of a story. Returns how many there were."""
    return _end(subject, ReservationState.RELEASED)


def use(*, subject: str) -> int:
    """Mark every open promise of a story as used; the caller posts the movement itself."""
    return _end(subject, ReservationState.USED)


def _end(subject: str, state: ReservationState) -> int:
    rows = Reservation.objects.filter(subject=subject, state=ReservationState.OPEN)
    return rows.update(state=state)
