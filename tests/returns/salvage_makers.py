"""Builders for salvage: a frame held for want of an arm, and a donor that waits to be stripped."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django.contrib.auth.models import User

from inventory.models import Part
from inventory.parts import rules as stock
from returns.grading.queries.facts import Seen
from returns.grading.rules import lookover
from returns.grading.rules.lookover import Look
from returns.models import ReturnedFrame
from returns.regrind.rules import stripdown
from returns.regrind.rules.stripdown import Salvaged, StripDown
from returns.salvage.rules import Match
from tests import furnished
from tests.makers import NOON, Shop, key
from tests.returns.bench_makers import filed, on_shelf


def empty_bin(part: Part) -> None:
    stock.count(key=key(), part=part, counted=0, reason="none in the bin", at=NOON)


@furnished.once
def looked(shop: Shop, by: User, *seen: Seen, **weighing: Any) -> ReturnedFrame:
    request = filed(weighing.get("colourway") or shop.avocet_slate)
    frame = on_shelf(shop, by, request, **weighing)
    return look_again(frame, by, *seen)


def look_again(frame: ReturnedFrame, by: User, *seen: Seen) -> ReturnedFrame:
    look = Look(findings=seen, polymer="ours")
    at = NOON + timedelta(hours=1)
    lookover.grade(key=key(), frame=frame, look=look, at=at, by=by)
    return ReturnedFrame.objects.get(pk=frame.pk)


def needing(shop: Shop, by: User, component: str = "arm_left", **facts: Any) -> ReturnedFrame:
    """Held for want of one arm: empty its bin first."""
    return looked(shop, by, Seen(component, "snapped"), **facts)


def giving(shop: Shop, by: User, *also: Seen, **facts: Any) -> ReturnedFrame:
    """To be stripped: no remedy answers its scuffed lens; both arms are sound."""
    return looked(shop, by, Seen("lens_left", "scuffed"), *also, **facts)


def match(donor: ReturnedFrame, frame: ReturnedFrame, component: str = "arm_left") -> Match:
    return Match(donor=donor, component=component, frame=frame)


def stripped(shop: Shop, donor: ReturnedFrame, by: User, arms: int = 1) -> ReturnedFrame:
    """Strip a whole donor of 24.82 g and keep so many arms of 4.1 g each."""
    kept = (Salvaged(part=shop.arm, pieces=arms, mass=f"{arms * 4.1:.1f} g"),) if arms else ()
    data = StripDown(
        scale=shop.fine_scale,
        plastic=f"{19.4 - arms * 4.1:.1f} g",
        lenses="5.200 g",
        metal="220 mg",
        salvaged=kept,
    )
    return stripdown.strip(key=key(), frame=donor, parts=data, at=NOON, by=by)
