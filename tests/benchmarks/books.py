"""Writes months of ledger rows in bulk, as the rules of `inventory.ledger` would, one by one.

Rows only go in, which the append-only triggers allow: none is bypassed. Numbers, balances and
month labels are kept as the ledger keeps them, months are closed by the real rule, and the caller
runs the ledger's own checks over the outcome.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import transaction

from inventory import events
from inventory.chain import rules as chain
from inventory.ledger.rules import places
from inventory.ledger.sums import codes
from inventory.models import (
    Balance,
    Lot,
    Movement,
    Place,
    PlaceKind,
    Posting,
    Reading,
    Scale,
)
from inventory.models.materials import Origin
from inventory.months.sums.calendar_month import Month
from inventory.weighing import rules as weighing
from tests.makers import Shop

Leg = tuple[Place, Place, int]
AS_SOLD = [[2, 1_000_000]]
FRAME_MG, PLASTIC_MG, LENS_MG, METAL_MG = 24_820, 19_400, 5_200, 220
POSTINGS_PER_FRAME = 5


@dataclass
class Book:
    """Movements waiting to be written together."""

    movements: list[Movement] = field(default_factory=list)
    lines: list[Posting] = field(default_factory=list)
    change: dict[int, int] = field(default_factory=dict)
    place_of: dict[int, Place] = field(default_factory=dict)

    def add(self, kind: str, legs: Sequence[Leg], at: datetime, **story: Any) -> None:
        """One movement. `reading` is that of its first leg."""
        reading = story.pop("reading", None)
        legs_told = [[source.code, target.code, quantity] for source, target, quantity in legs]
        data = [kind, legs_told, story.get("subject", ""), story.get("cost_minor", 0)]
        movement = Movement(
            key=uuid.uuid4(),
            fingerprint=events.fingerprint([*data, at.isoformat()]),
            kind=kind,
            happened_at=at,
            recorded_at=at,
            month=f"{at:%Y-%m}",
            **story,
        )
        self.movements.append(movement)
        for index, (source, target, quantity) in enumerate(legs, start=1):
            self.lines.append(
                Posting(
                    movement=movement,
                    line=index,
                    source=source,
                    target=target,
                    quantity=quantity,
                    reading=reading if index == 1 else None,
                )
            )
            self._move(source, -quantity)
            self._move(target, quantity)

    def _move(self, place: Place, by: int) -> None:
        self.place_of[place.pk] = place
        self.change[place.pk] = self.change.get(place.pk, 0) + by

    @transaction.atomic
    def write(self) -> int:
        """Put everything into the database. Returns the number of postings."""
        lines: dict[int, list[Posting]] = {}
        for posting in self.lines:
            lines.setdefault(id(posting.movement), []).append(posting)
        for movement in self.movements:
            chain.link_movement(chain.hold(), movement, lines[id(movement)])
        Movement.objects.bulk_create(self.movements, batch_size=500)
        Posting.objects.bulk_create(self.lines, batch_size=500)
        for pk, by in self.change.items():
            place = self.place_of[pk]
            row, _ = Balance.objects.get_or_create(
                place=place, defaults={"boundary": place.is_boundary}
            )
            row.quantity += by
            row.save()
        return len(self.lines)


def readings(scale: Scale, count: int, mass_mg: int, at: datetime) -> list[Reading]:
    """The same reading many times over, worked out once by the real rule."""
    first = weighing.read(scale=scale, typed=f"{mass_mg / 1000:.3f} g", at=at)
    facts = {f.attname: getattr(first, f.attname) for f in Reading._meta.fields if f.name != "id"}
    return Reading.objects.bulk_create((Reading(**facts) for _ in range(count)), batch_size=500)


def month(shop: Shop, label: str, *, frames: int) -> int:
    """One month: frames come in, are carried, stripped and ground, and the flake is issued.

    Returns the number of postings, five for each frame and five more.
    """
    first = datetime.combine(Month.parse(label).first_day, datetime.min.time(), UTC)
    morning = first + timedelta(days=1, hours=9)
    book = Book()
    weighed = readings(shop.fine_scale, frames, PLASTIC_MG, morning)
    box = places.box(polymer=shop.pp, colour=shop.slate, origin=Origin.RETURN)
    for index, reading in enumerate(weighed):
        _frame(book, box, morning + timedelta(minutes=10 * (index % 3600)), reading)
    _ground(book, shop, box, frames * PLASTIC_MG, first + timedelta(days=26))
    return book.write()


def _frame(book: Book, box: Place, at: datetime, reading: Reading) -> None:
    tag = codes.new_code("F")
    shelf, bench = places.mass(PlaceKind.ARRIVALS), places.mass(PlaceKind.BENCH)
    book.add("weigh_in", [(places.mass(PlaceKind.WEARERS), shelf, FRAME_MG)], at, subject=tag)
    book.add("carry", [(shelf, bench, FRAME_MG)], at, subject=tag)
    legs = [
        (bench, box, PLASTIC_MG),
        (bench, places.mass(PlaceKind.LENS), LENS_MG),
        (bench, places.mass(PlaceKind.METAL), METAL_MG),
    ]
    book.add("strip_down", legs, at, subject=tag, reading=reading, cost_minor=160, heat=AS_SOLD)


def _ground(book: Book, shop: Shop, box: Place, mass_mg: int, at: datetime) -> None:
    made = Lot.objects.create(
        code=codes.new_code("L"),
        polymer=shop.pp,
        colour=shop.slate,
        origin=Origin.RETURN,
        heat=AS_SOLD,
        made_at=at,
    )
    lot = places.of_lot(made)
    dust, moisture = mass_mg // 100, mass_mg // 200
    flake = mass_mg - dust - moisture
    legs = [
        (box, lot, flake),
        (box, places.mass(PlaceKind.DUST), dust),
        (box, places.mass(PlaceKind.MOISTURE), moisture),
    ]
    book.add("grind", legs, at, subject=codes.new_code("G"), cost_minor=2400)
    out = places.mass(PlaceKind.PRESS)
    book.add("issue", [(lot, out, flake // 2)], at, subject=made.code)
    book.add("issue", [(lot, out, flake // 3)], at, subject=made.code)
