"""Fills the bench with open frames in bulk: each state with the rows and the mass that it means.

One frame of each outcome goes through the real look-over; the others copy what it decided.
"""

from __future__ import annotations

import secrets
import uuid
from collections.abc import Sequence
from datetime import timedelta
from itertools import cycle, islice

from django.contrib.auth.models import User
from django.db import transaction

from inventory.ledger.rules import places
from inventory.models import PlaceKind
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.models import Grading, Parcel, Person, Request, ReturnedFrame
from returns.story.sums import codes
from tests.benchmarks.books import FRAME_MG, Book, readings
from tests.makers import NOON, Shop
from tests.returns.bench_makers import filed, on_shelf

# What was seen on the frame whose look-over the others copy, by the state it leads to.
SEEN = {
    "to_mend": Look(findings=[Seen("arm_left", "snapped")], polymer="ours"),
    "held": Look(polymer="ours"),
    "to_strip": Look(findings=[Seen("front", "snapped")], polymer="ours"),
}
STATES = ("weighed", "to_mend", "held", "to_strip", "to_mend")


@transaction.atomic
def fill(shop: Shop, by: User, count: int) -> None:
    """Put `count` more open frames on shelf, hold and bench, a fifth to two fifths per state."""
    data = {state: _looked_over(shop, by, state) for state in SEEN}
    frames = _frames(shop, count - len(data), data["to_mend"].frame)
    Grading.objects.bulk_create(
        (
            Grading(
                frame=frame,
                computed=data[frame.state].computed,
                decided=data[frame.state].decided,
                sums=data[frame.state].sums,
                at=NOON,
                by=by,
            )
            for frame in frames
            if frame.state in data
        ),
        batch_size=500,
    )
    _weighed_in(frames)


def _looked_over(shop: Shop, by: User, state: str) -> Grading:
    frame = on_shelf(shop, by, filed(shop.avocet_slate))
    grading = lookover.grade(key=uuid.uuid4(), frame=frame, look=SEEN[state], at=NOON, by=by)
    frame.parcel.done_at = NOON
    frame.parcel.content = Parcel.Content.FRAMES
    frame.parcel.save()
    if frame.state != state:
        raise SystemExit(f"The look-over meant for {state} led to {frame.state}.")
    return grading


def _frames(shop: Shop, count: int, like: ReturnedFrame) -> list[ReturnedFrame]:
    requests = _requests(shop, count)
    parcels = Parcel.objects.bulk_create(
        (
            Parcel(
                code=codes.new_code("P"),
                key=uuid.uuid4(),
                request=request,
                content=Parcel.Content.FRAMES,
                arrived_at=NOON,
                done_at=NOON,
            )
            for request in requests
        ),
        batch_size=500,
    )
    weighed = readings(shop.fine_scale, count, FRAME_MG, NOON)
    rows = zip(requests, parcels, weighed, islice(cycle(STATES), count), strict=True)
    return ReturnedFrame.objects.bulk_create(
        (
            ReturnedFrame(
                tag=codes.new_code("F"),
                key=uuid.uuid4(),
                parcel=parcel,
                request=request,
                colourway=shop.avocet_slate,
                state=state,
                wish=request.wish,
                cleaned_at=NOON,
                reading=reading,
                massfit=like.massfit,
                weighed_at=NOON,
                promised_by=(NOON + timedelta(days=index % 41)).date(),
            )
            for index, (request, parcel, reading, state) in enumerate(rows)
        ),
        batch_size=500,
    )


def _requests(shop: Shop, count: int) -> list[Request]:
    people = Person.objects.bulk_create(
        (Person(name="Pim Sandling", email=f"pim{i}@example.org") for i in range(count)),
        batch_size=500,
    )
    return Request.objects.bulk_create(
        (
            Request(
                reference=codes.new_code("Q"),
                link_salt="salt",
                link_hash=secrets.token_hex(32),
                key=uuid.uuid4(),
                kind=Request.Kind.SEND_BACK,
                state="arrived",
                person=person,
                colourway=shop.avocet_slate,
                component="arm_left",
                defect="snapped",
                wish="regrind",
                filed_at=NOON - timedelta(days=4),
            )
            for person in people
        ),
        batch_size=500,
    )


def _weighed_in(frames: Sequence[ReturnedFrame]) -> None:
    """Their mass, where their state says that they lie."""
    door, shelf = places.mass(PlaceKind.WEARERS), places.mass(PlaceKind.ARRIVALS)
    hold, bench = places.mass(PlaceKind.HOLD), places.mass(PlaceKind.BENCH)
    book = Book()
    for frame in frames:
        leg = (door, shelf, FRAME_MG)
        book.add("weigh_in", [leg], NOON, subject=frame.tag, reading=frame.reading)
        if frame.state != "weighed":
            to = hold if frame.state == "held" else bench
            book.add("carry", [(shelf, to, FRAME_MG)], NOON, subject=frame.tag)
    book.write()
