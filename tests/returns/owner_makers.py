"""Builders for the owner's tests: frames with an end, straight into the tables and the ledger."""

from __future__ import annotations

from datetime import datetime, timedelta

from django.contrib.auth.models import User

from inventory.ledger.rules import ledger, places
from inventory.models import GrindRun, Lot, Movement, Place, PlaceKind, Posting, Reading, Scale
from inventory.weighing import rules as weighing
from returns.models import (
    Finding,
    FrameHeap,
    Grading,
    Parcel,
    ProductionBatch,
    ReturnedFrame,
    SoldUnits,
)
from returns.story.sums import codes
from tests.makers import NOON, Shop, key

WHOLE_MG = 24_820


def read(scale: Scale, mass_mg: int, at: datetime = NOON) -> Reading:
    return weighing.read(scale=scale, typed=f"{mass_mg} mg", at=at)


def frame(shop: Shop, *, at: datetime = NOON, **changes: object) -> ReturnedFrame:
    """An Avocet in slate of the known batch, weighed in at `at` and on the shelf."""
    tag = codes.new_code("F")
    reading = read(shop.fine_scale, WHOLE_MG, at)
    facts: dict[str, object] = {
        "tag": tag,
        "key": key(),
        "parcel": Parcel.objects.create(code=codes.new_code("P"), key=key(), arrived_at=at),
        "colourway": shop.avocet_slate,
        "batch": shop.batch,
        "state": "weighed",
        "cleaned_at": at,
        "reading": reading,
        "weighed_at": at,
        "promised_by": (at + timedelta(days=21)).date(),
    }
    made = ReturnedFrame.objects.create(**(facts | changes))
    move(
        "weigh_in",
        [(places.mass(PlaceKind.WEARERS), shelf(), WHOLE_MG, reading)],
        at=at,
        subject=tag,
    )
    return made


def shelf() -> Place:
    return places.mass(PlaceKind.ARRIVALS)


def move(
    kind: str,
    legs: list[tuple[Place, Place, int, Reading | None]],
    *,
    at: datetime = NOON,
    subject: str = "",
    heat: list[list[int]] | None = None,
    reason: str = "",
) -> Movement:
    return ledger.post(
        key=key(),
        kind=kind,
        lines=[ledger.Line(*leg) for leg in legs],
        happened_at=at,
        story=ledger.Story(subject=subject, heat=heat, reason=reason),
    )


def end(frame: ReturnedFrame, state: str, *, days: int) -> ReturnedFrame:
    """The frame's story ends so many days after its weigh-in."""
    frame.state, frame.ended_at = state, frame.weighed_at + timedelta(days=days)
    frame.save()
    return frame


def posted(
    shop: Shop,
    *,
    at: datetime = NOON,
    days: int = 5,
    kind: str = "mended",
    **changes: object,
) -> ReturnedFrame:
    """Posted from the bench: "mended", or "as_is"."""
    made = frame(shop, at=at, **changes)
    bench = places.mass(PlaceKind.BENCH)
    later = at + timedelta(days=days)
    move("carry", [(shelf(), bench, WHOLE_MG, None)], at=later, subject=made.tag)
    out = places.mass(PlaceKind.WEARERS)
    move("post_frame", [(bench, out, WHOLE_MG, None)], at=later, subject=made.tag, reason=kind)
    return end(made, {"mended": "posted"}.get(kind, "posted_as_is"), days=days)


def boxed(shop: Shop, *, at: datetime = NOON, days: int = 3, **changes: object) -> ReturnedFrame:
    """Stripped: 19.4 g to the box, 5.2 g of lenses, 0.2 g of metal, 0.02 g missing."""
    made = frame(shop, at=at, **changes)
    later = at + timedelta(days=days)
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")
    reading = read(shop.fine_scale, 19_400, later)
    move(
        "strip_down",
        [
            (shelf(), box, 19_400, reading),
            (shelf(), places.mass(PlaceKind.LENS), 5_200, None),
            (shelf(), places.mass(PlaceKind.METAL), 200, None),
            (shelf(), places.mass(PlaceKind.UNEXPLAINED), 20, None),
        ],
        at=later,
        subject=made.tag,
        heat=[[2, 1_000_000]],
    )
    # The story of a frame in a box ends when it is ground, not before.
    made.state, made.box, made.boxed_mg = "boxed", box, 19_400
    made.save()
    FrameHeap.objects.create(frame=made, box=box, mass_mg=19_400)
    return made


def lot(shop: Shop, origin: str = "post_consumer_return", mass_mg: int = 1_000_000) -> Place:
    """A lot that was there before the ledger began."""
    made = Lot.objects.create(
        code=codes.new_code("L"),
        polymer=shop.pp,
        colour=shop.slate,
        origin=origin,
        heat=[[2, 1_000_000]],
        made_at=NOON,
    )
    place = places.of_lot(made)
    move("opening", [(places.mass(PlaceKind.UNEXPLAINED), place, mass_mg, None)])
    return place


def issued(
    shop: Shop, origin: str, mass_mg: int, *, batch: str = "AV-2601", scale: Scale | None = None
) -> Movement:
    production = places.mass(PlaceKind.PRESS)
    place = lot(shop, origin)
    reading = read(scale, mass_mg) if scale else None
    return move("issue", [(place, production, mass_mg, reading)], subject=batch)


def ground(shop: Shop, by: User, other: User, *, flake_mg: int) -> GrindRun:
    """Everything in the returns' box is ground on the spot; the rest of it is dust."""
    box = places.box(polymer=shop.pp, colour=shop.slate, origin="post_consumer_return")
    held, code = box.balance.quantity, codes.new_code("G")
    into = Lot.objects.create(
        code=codes.new_code("L"),
        polymer=shop.pp,
        colour=shop.slate,
        origin="post_consumer_return",
        heat=[[2, 1_000_000]],
        made_at=NOON,
    )
    put_in = Posting.objects.filter(target=box).latest("movement__number").movement.number
    reading = read(shop.fine_scale, flake_mg)
    move(
        "grind",
        [
            (box, places.of_lot(into), flake_mg, reading),
            (box, places.mass(PlaceKind.DUST), held - flake_mg, None),
        ],
        subject=code,
    )
    return GrindRun.objects.create(
        code=code,
        box=box,
        state="finished",
        box_mg=held,
        box_movement=put_in,
        proposed_by=by,
        proposed_at=NOON,
        confirmed_by=other,
        confirmed_at=NOON,
        finished_at=NOON,
        lot=into,
    )


def graded(made: ReturnedFrame, by: User, *seen: tuple[str, str], at: datetime = NOON) -> Grading:
    grading = Grading.objects.create(
        frame=made, computed="repair", decided="repair", sums={}, at=at, by=by
    )
    for component, defect in seen:
        Finding.objects.create(grading=grading, component=component, defect=defect)
    return grading


def sold(batch: ProductionBatch, **by_month: int) -> None:
    """`sold(batch, m2026_02=40)`."""
    for label, pieces in by_month.items():
        month = label.removeprefix("m").replace("_", "-")
        SoldUnits.objects.create(batch=batch, month=month, pieces=pieces, imported_at=NOON)
