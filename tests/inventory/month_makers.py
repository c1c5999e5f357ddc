"""Builds months by posting straight into the ledger: a frame comes, is stripped, ground, issued."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from datetime import UTC, datetime

from inventory.ledger.rules import ledger, places
from inventory.models import Lot, Movement, Place, PlaceKind, Reading
from inventory.models.materials import Origin
from inventory.weighing import rules as weighing
from tests import furnished, makers
from tests.makers import Shop, key

OCT = datetime(2026, 10, 14, 10, 0, tzinfo=UTC)
NOV = datetime(2026, 11, 12, 10, 0, tzinfo=UTC)
DEC_2 = datetime(2026, 12, 2, 9, 0, tzinfo=UTC)
NOV_2 = datetime(2026, 11, 2, 9, 0, tzinfo=UTC)


def move(
    kind: str,
    *legs: tuple[Place, Place, int],
    at: datetime = OCT,
    reading: object = None,
    **story: object,
) -> Movement:
    """Post one movement from (source, target, quantity) legs."""
    return ledger.post(
        key=key(),
        kind=kind,
        lines=[ledger.Line(*leg, reading) for leg in legs],
        happened_at=at,
        story=ledger.Story(**story),
    )


def at(kind: PlaceKind) -> Place:
    return places.mass(kind)


def box(shop: Shop, origin: Origin = Origin.RETURN) -> Place:
    return places.box(polymer=shop.pp, colour=shop.slate, origin=origin)


def lot(shop: Shop, code: str = "L-2345-6789", origin: Origin = Origin.RETURN) -> Place:
    made = Lot.objects.create(
        code=code,
        polymer=shop.pp,
        colour=shop.slate,
        origin=origin,
        heat=[[2, 1_000_000]],
        made_at=OCT,
    )
    return places.of_lot(made)


def weighed_in(tag: str, mass_mg: int, *, at_: datetime = OCT) -> Movement:
    leg = (at(PlaceKind.WEARERS), at(PlaceKind.ARRIVALS), mass_mg)
    return move("weigh_in", leg, at=at_, subject=tag)


def stripped(shop: Shop, tag: str, typed: str, *, at_: datetime = OCT, cost: int = 0) -> Movement:
    """The whole frame's plastic goes into the box, as read on the bench scale."""
    reading = weighing.read(scale=shop.fine_scale, typed=typed, at=at_)
    return move(
        "strip_down",
        (at(PlaceKind.ARRIVALS), box(shop), reading.mass_mg),
        at=at_,
        reading=reading,
        subject=tag,
        cost_minor=cost,
    )


@furnished.once
def furnished_october(shop: Shop) -> dict[str, Movement]:
    """Two frames in: one stripped and ground, one held; flake issued, feedstock bought, a count.

    The box begins with 100 g (opening entry in August, by `makers.opening`).
    """
    makers.opening(100_000, shop)
    flake = lot(shop)
    bought = lot(shop, "L-FEED-2222", Origin.FEEDSTOCK)
    source = box(shop)
    moved = {
        "in_1": weighed_in("F-AAAA-1111", 24_310),
        "in_2": weighed_in("F-AAAA-2222", 23_900),
        "strip": move(
            "strip_down",
            (at(PlaceKind.ARRIVALS), source, 19_400),
            (at(PlaceKind.ARRIVALS), at(PlaceKind.LENS), 4_690),
            (at(PlaceKind.ARRIVALS), at(PlaceKind.METAL), 220),
            subject="F-AAAA-1111",
            cost_minor=160,
            reading=weighing.read(scale=shop.fine_scale, typed="19.400 g", at=OCT),
        ),
        "hold": move(
            "carry", (at(PlaceKind.ARRIVALS), at(PlaceKind.HOLD), 23_900), subject="F-AAAA-2222"
        ),
        "feed": move("receive_feedstock", (at(PlaceKind.SELLERS), bought, 500_000), cost_minor=450),
        "grind": move(
            "grind",
            (source, flake, 117_000),
            (source, at(PlaceKind.DUST), 1_500),
            (source, at(PlaceKind.PURGE), 800),
            (source, at(PlaceKind.UNEXPLAINED), 100),
            subject="G-2222-3333",
            cost_minor=240,
        ),
        "issue": move("issue", (flake, at(PlaceKind.PRESS), 50_000), subject="L-2345-6789"),
        "count": move("count_mass", (bought, at(PlaceKind.UNEXPLAINED), 2_000), reason="recount"),
    }
    return moved


def doubt_ug(signed: Iterable[tuple[float, Reading]]) -> float:
    """Expanded uncertainty of a signed sum on one scale under one check, by the rule in words.

    Own parts add as squares; common part, drift and certified error add with their signs, and what
    like loads share adds within each power of two (GUM 5.2.2, note 1).
    """
    listed = list(signed)
    sums: Counter[str] = Counter()
    for sign, row in listed:
        sums["common"] += sign * row.u_shared_ug
        sums["drift"] += sign * row.u_drift_ug
        sums["error"] += sign * row.error_ug
        sums[f"like {math.floor(math.log2(row.mass_mg))}"] += sign * row.u_local_ug
    own = math.fsum((sign * row.u_own_ug) ** 2 for sign, row in listed)
    return 2 * math.sqrt(own + math.fsum(part**2 for part in sums.values()))
