"""The grams of a span as streams between kinds of place, from the ledger's own postings.

Only what comes from returned frames is followed: boxes and lots of bought feedstock, of scrap and
of virgin material are left out. Both shelves count as one. A movement back takes off the stream
that it goes against, so between two places there is one stream, the net one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from inventory.ledger.sums.recipes import KINDS
from inventory.models import Origin, Place, PlaceKind, Posting
from inventory.months.queries.entries import Entry
from inventory.weighing.queries import traced
from inventory.weighing.queries.traced import Stretch
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings
from returns.figures.circularity.queries.flows import Leg
from returns.figures.span.queries import Span

INNER = (
    PlaceKind.ARRIVALS,
    PlaceKind.BENCH,
    PlaceKind.SALVAGE,
    PlaceKind.BOX,
    PlaceKind.LOT,
)
IN, OUT = "in", "out"
_SAME = {PlaceKind.HOLD: PlaceKind.ARRIVALS}
_LEFT_OUT = frozenset(name for name, kind in KINDS.items() if not kind.drawn)


@dataclass(frozen=True, slots=True)
class Moved:
    """Net milligrams from one end to another. An end outside is named with its side: "dust.out"."""

    source: str
    target: str
    mass_mg: int
    known: MassUncertainty


@dataclass(frozen=True, slots=True)
class Gained:
    """Milligrams that an inner place gained, or below zero lost."""

    mass_mg: int
    known: MassUncertainty


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialFlow:
    """Streams, largest first within their source, and what each inner place gained.

    A gain is as well known as what lay there at the end, set against what lay there before.
    """

    moved: tuple[Moved, ...]
    gained: dict[str, Gained]


def material_flow(span: Span) -> MaterialFlow:
    """Follow returned frames through the house, each posting to the readings behind it.

    A number of questions to the database that does not grow with the span.
    """
    first, last = span.labels
    rows = Posting.objects.filter(movement__month__lte=last)
    found = traced.stretch(rows, first)
    legs: dict[Leg, MassWithReadings] = {}
    for entry, mass in found.moved:
        # What the kinds' table marks as not drawn, such as a count, is no stream and would look
        # like one.
        if entry.kind not in _LEFT_OUT and _is_own(entry):
            legs.setdefault(_leg(entry), MassWithReadings()).add(mass, entry.sign)
    flow = of_legs(legs)
    lying = _lying(found)
    gained = {key: Gained(gain.mass_mg, lying[key].known()) for key, gain in flow.gained.items()}
    return replace(flow, gained=gained)


def _lying(found: Stretch) -> dict[str, MassWithReadings]:
    """Return how much more lies in each inner place than before, without what is no stream."""
    places = Place.objects.filter(kind__in=[*INNER, *_SAME], origin__in=["", Origin.RETURN])
    kinds = {code: _inner(kind) for code, kind in places.values_list("code", "kind")}
    lying = {str(key): MassWithReadings() for key in INNER}
    # Ends less beginnings, then less what moved without being a stream: what is left ties out to
    # them.
    for masses, sign in ((found.held, 1), (found.opened, -1)):
        for code, mass in masses.items():
            if code in kinds:
                lying[kinds[code]].add(mass, sign)
    for entry, mass in found.moved:
        for end, sign in ((entry.source, 1), (entry.target, -1)):
            if entry.kind in _LEFT_OUT and end.code in kinds:
                lying[kinds[end.code]].add(mass, sign)
    return lying


def _inner(kind: str) -> str:
    return str(_SAME.get(kind, kind))  # type: ignore[call-overload]


def _is_own(entry: Entry) -> bool:
    return {entry.source.origin, entry.target.origin} <= {"", Origin.RETURN}


def _leg(entry: Entry) -> Leg:
    """Return the leg. A reversal goes the other way, and counts as minus the leg it takes back."""
    ends = (entry.source.kind, entry.target.kind)
    return Leg(entry.kind, *(ends if entry.sign > 0 else ends[::-1]))


def of_legs(legs: Mapping[Leg, MassWithReadings]) -> MaterialFlow:
    """Return the streams from sums by leg, and what was gained by them."""
    pairs: dict[tuple[str, str], MassWithReadings] = {}
    for leg, mass in legs.items():
        source, target = _inner(leg.source), _inner(leg.target)
        # From one shelf to the other is no stream where both count as one.
        if source != target:
            pairs.setdefault((source, target), MassWithReadings()).add(mass)
    net: list[Moved] = []
    gained = {str(key): MassWithReadings() for key in INNER}
    for source, target, mass in _net(pairs):
        net.append(Moved(_named(source, IN), _named(target, OUT), mass.mass_mg, mass.known()))
        for place, times in ((source, -1), (target, 1)):
            if place in gained:
                gained[place].add(mass, times)
    net.sort(key=lambda stream: (stream.source, -stream.mass_mg))
    return MaterialFlow(
        moved=tuple(net),
        gained={key: Gained(mass.mass_mg, mass.known()) for key, mass in gained.items()},
    )


def _net(
    pairs: Mapping[tuple[str, str], MassWithReadings],
) -> Iterable[tuple[str, str, MassWithReadings]]:
    """Yield one stream between two places, the way that more of it went."""
    nothing = MassWithReadings()
    # Each pair of places once, whichever way it was met first, and in an order that does not
    # change.
    for one, other in sorted({(min(pair), max(pair)) for pair in pairs}):
        mass = pairs.get((one, other), nothing).less(pairs.get((other, one), nothing))
        if mass.mass_mg > 0:
            yield one, other, mass
        elif mass.mass_mg < 0:
            yield other, one, mass.times(-1)


def _named(kind: str, side: str) -> str:
    return kind if kind in INNER else f"{kind}.{side}"
