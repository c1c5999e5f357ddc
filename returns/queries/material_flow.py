"""The grams of a span as streams between kinds of place, from the ledger's own postings.

Only what comes from returned frames is followed: boxes and lots of bought feedstock, of scrap and
of virgin material are left out. Both shelves count as one. A movement back takes off the stream
that it goes against, so between two places there is one stream, the net one.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from django.db.models import Q

from inventory.models import Origin, PlaceKind
from returns.queries import flows
from returns.queries.flows import Flows
from returns.queries.span import Span

INNER = (
    PlaceKind.ARRIVALS,
    PlaceKind.BENCH,
    PlaceKind.SALVAGE,
    PlaceKind.BOX,
    PlaceKind.LOT,
)
IN, OUT = "in", "out"
_SAME = {PlaceKind.HOLD: PlaceKind.ARRIVALS}
# Opening stock lay there before the books began; what is carted off was told of when it arose.
_LEFT_OUT = ("opening", "dispose", "receive_feedstock", "return_scrap")


@dataclass(frozen=True, slots=True)
class Moved:
    """Net milligrams from one end to another. An end outside is named with its side: "dust.out"."""

    source: str
    target: str
    mass_mg: int


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialFlow:
    """Streams, largest first within their source, and what each inner place gained, in mg."""

    moved: tuple[Moved, ...]
    gained_mg: dict[str, int]


def material_flow(span: Span) -> MaterialFlow:
    """Follow returned frames through the house. One question to the database."""
    own = Q(source__origin__in=["", Origin.RETURN]) & Q(target__origin__in=["", Origin.RETURN])
    rows = flows.postings(span).filter(own).exclude(movement__kind__in=_LEFT_OUT)
    return of_net(flows.net(rows))


def of_net(told: Flows) -> MaterialFlow:
    """The same from sums by leg."""
    pairs: Counter[tuple[str, str]] = Counter()
    for leg, mass_mg in told.net_mg.items():
        source, target = _SAME.get(leg.source, leg.source), _SAME.get(leg.target, leg.target)  # type: ignore[call-overload]
        if source != target:
            pairs[str(source), str(target)] += mass_mg
    net: list[Moved] = []
    for one, other in sorted({tuple(sorted(pair)) for pair in pairs}):
        mass_mg = pairs[one, other] - pairs[other, one]
        if mass_mg:
            ends = (one, other) if mass_mg > 0 else (other, one)
            net.append(Moved(_named(ends[0], IN), _named(ends[1], OUT), abs(mass_mg)))
    gained: Counter[str] = Counter()
    for stream in net:
        gained[stream.target] += stream.mass_mg
        gained[stream.source] -= stream.mass_mg
    net.sort(key=lambda stream: (stream.source, -stream.mass_mg))
    return MaterialFlow(moved=tuple(net), gained_mg={key: gained[key] for key in INNER})


def _named(kind: str, side: str) -> str:
    return kind if kind in INNER else f"{kind}.{side}"
