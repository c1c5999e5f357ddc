"""Spare parts: receiving, counting, and promising them to a story before they leave the bin."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q
from django.utils.translation import gettext as _

from inventory.counting import Counted
from inventory.errors import BadInput, NotEnough
from inventory.ledger.queries import balances
from inventory.ledger.rules import ledger, places
from inventory.models import Balance, Movement, Part, Place, PlaceKind, Posting, Reservation
from inventory.models.places import ReservationState
from inventory.parts import queries as part_stock

if TYPE_CHECKING:
    from django.contrib.auth.models import User


def _received(movement: Movement) -> list[Any]:
    pieces = sum(movement.postings.values_list("quantity", flat=True))
    return [movement.kind, movement.subject, pieces, movement.cost_minor]


def _counted(movement: Movement) -> list[Any]:
    """Return what a count was asked: the pieces that the bin held from then on."""
    bins = Place.objects.filter(kind=PlaceKind.BIN, part__code=movement.subject)
    moved = Posting.objects.filter(movement__number__lte=movement.number)
    # The movement itself holds only the gap; the counted figure is what the bin held after it.
    held_then = balances.net(moved.filter(Q(source__in=bins) | Q(target__in=bins)))
    pieces = sum(held_then.get(bin_.pk, 0) for bin_ in bins)
    return [movement.kind, movement.subject, pieces, movement.reason]


@ledger.rule(
    facts=lambda part, pieces, cost_minor: ["receive_parts", part.code, pieces, cost_minor],
    kept=_received,
    again=lambda movement: movement,
)
def receive(
    *,
    key: UUID,
    part: Part,
    pieces: int,
    cost_minor: int,
    at: datetime,
    actor: User | None = None,
) -> Movement:
    """Put parts from a supplier into their bin. `cost_minor` is for all of them together."""
    line = ledger.Line(places.pieces(PlaceKind.SELLERS), places.bin_of(part), pieces)
    story = ledger.Story(subject=part.code, actor=actor, cost_minor=cost_minor)
    return ledger.post(key=key, kind="receive_parts", lines=[line], happened_at=at, story=story)


@ledger.rule(
    facts=lambda part, counted, reason: ["count_parts", part.code, counted, reason],
    kept=_counted,
    again=Counted,
)
def count(
    *,
    key: UUID,
    part: Part,
    counted: int,
    reason: str,
    at: datetime,
    actor: User | None = None,
) -> Counted:
    """Put the bin right after a count. A count that agrees with the ledger leaves no row."""
    if counted < 0:
        raise BadInput(_("A count cannot be below zero."), field="counted")
    gap = counted - part_stock.held(part)
    short = max(0, part_stock.promised(part) - counted)
    if gap == 0:
        return Counted(None, short)
    bin_, outside = places.bin_of(part), places.pieces(PlaceKind.UNEXPLAINED)
    source, target = (outside, bin_) if gap > 0 else (bin_, outside)
    story = ledger.Story(subject=part.code, actor=actor, reason=reason)
    line = ledger.Line(source, target, abs(gap))
    moved = ledger.post(key=key, kind="count_parts", lines=[line], happened_at=at, story=story)
    return Counted(moved, short)


@transaction.atomic
def reserve(*, part: Part, pieces: int, subject: str, at: datetime) -> Reservation:
    """Promise pieces to a story. Raises NotEnough when too few pieces are unpromised.

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
    """Give back every open promise of a story. Returns how many there were; a repeat returns 0."""
    return _end(subject, ReservationState.RELEASED)


def use(*, subject: str) -> int:
    """Mark every open promise of a story as used; the caller posts the movement itself."""
    return _end(subject, ReservationState.USED)


def _end(subject: str, state: ReservationState) -> int:
    rows = Reservation.objects.filter(subject=subject, state=ReservationState.OPEN)
    return rows.update(state=state)
