"""Spare parts in pieces: in the bin, promised, free, and which to order again. Reads only."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models import Sum

from inventory.models import Balance, Part, PlaceKind, Reservation
from inventory.models.places import ReservationState


@dataclass(frozen=True, slots=True)
class Stocked:
    """A part with its pieces in the bin, and how many of them are promised to a story."""

    part: Part
    held: int
    promised: int

    @property
    def free(self) -> int:
        return self.held - self.promised

    @property
    def is_low(self) -> bool:
        """A part is ordered when its free pieces reach the reorder level, not only below it."""
        return self.free <= self.part.reorder_level


def listed() -> list[Stocked]:
    """Return every part with its pieces, by code."""
    bins = Balance.objects.filter(place__kind=PlaceKind.BIN)
    # Two queries and two dictionaries for all parts, instead of two queries for each.
    held = dict(bins.values_list("place__part", "quantity"))
    kept = Reservation.objects.filter(state=ReservationState.OPEN).order_by()
    promised = dict(kept.values_list("part").annotate(Sum("pieces")))
    return [
        Stocked(part, held.get(part.pk, 0), promised.get(part.pk, 0))
        for part in Part.objects.order_by("code")
    ]


def to_order() -> list[Stocked]:
    """Return the parts that are low and should be ordered."""
    return [one for one in listed() if one.is_low]


def held(part: Part) -> int:
    """Return the pieces in the bin, promised or not."""
    balance = Balance.objects.filter(place__kind=PlaceKind.BIN, place__part=part).first()
    return balance.quantity if balance else 0


def promised(part: Part) -> int:
    """Return the pieces in the bin that are promised to a story."""
    open_rows = Reservation.objects.filter(part=part, state=ReservationState.OPEN)
    return open_rows.aggregate(total=Sum("pieces"))["total"] or 0


def available(part: Part, *, subject: str = "") -> int:
    """Return the pieces that may still be promised, never below zero.

    What is promised to `subject` already counts as free for it.
    """
    others = Reservation.objects.filter(part=part, state=ReservationState.OPEN)
    taken = others.exclude(subject=subject) if subject else others
    # A count may find fewer pieces than are promised; then nothing is free, and no promise is
    # broken here.
    return max(0, held(part) - (taken.aggregate(total=Sum("pieces"))["total"] or 0))
