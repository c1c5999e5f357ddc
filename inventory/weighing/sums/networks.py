"""Places and the streams between them as a graph, reduced to the balances that can be checked.

A place that must balance is a node; every other place is outside. Two nodes joined by an
unmeasured stream can only be balanced together, so they are joined before any matrix is formed;
the signs stay whole numbers and no rank has to be guessed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import fsum, isfinite
from typing import ClassVar

from inventory.wording import gettext_noop

OUTSIDE = ""
# Sums of exactly known flows may miss zero by this much of their own size.
ROUNDING = 1e-9


class BadNetwork(ValueError):
    """Streams that form no network; the template says what to put right for which name."""

    code: ClassVar[str] = "bad_network"

    def __init__(self, template: str, name: str) -> None:
        self.template = template
        self.name = name
        super().__init__(template % {"name": name})


_TWICE = gettext_noop("The stream %(name)s is listed twice. Give each stream its own name.")
_LOOP = gettext_noop("The stream %(name)s ends where it begins. Name two different places.")
_HALF_MEASURED = gettext_noop(
    "The stream %(name)s needs both a mass and a variance, or neither when it was not measured."
)
_NO_FIGURE = gettext_noop(
    "The stream %(name)s has a mass or a variance that is no usable figure. "
    "Give finite figures and a variance that is not negative."
)
_NO_STREAM = gettext_noop("No stream touches the place %(name)s. Leave it out or add its streams.")


@dataclass(frozen=True, slots=True)
class Stream:
    """A flow from one place to another; mass and variance share a unit (mg and mg²).

    Without a mass it is unmeasured; with variance 0 it is known exactly and never adjusted.
    `shared` are the parts of its uncertainty, with their signs and in the unit of the mass, that it
    has in common with other streams, by the name of the common error; `variance` includes them.
    """

    name: str
    source: str
    target: str
    mass: float | None = None
    variance: float | None = None
    shared: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Reduced:
    """Independent balances over uncertain measured streams: signs · x = −known.

    `around` has for each row of `signs` the nodes that its balance goes around. `balances` counts
    all balances free of unmeasured streams, `touched` names the measured streams that take part in
    one, and `contradictions` the places whose exact flows disagree.
    """

    names: tuple[str, ...]
    measured: tuple[float, ...]
    variances: tuple[float, ...]
    signs: tuple[tuple[int, ...], ...]
    around: tuple[frozenset[str], ...]
    shared: tuple[tuple[tuple[str, float], ...], ...]
    known: tuple[float, ...]
    balances: int
    touched: frozenset[str]
    contradictions: tuple[tuple[str, ...], ...]


def check(streams: Sequence[Stream], nodes: Sequence[str]) -> None:
    """Raise BadNetwork for a stream or a node that cannot be used."""
    seen: set[str] = set()
    for stream in streams:
        if stream.name in seen:
            raise BadNetwork(_TWICE, stream.name)
        seen.add(stream.name)
        _check_stream(stream)
    touched = {place for stream in streams for place in (stream.source, stream.target)}
    for node in nodes:
        if node not in touched or node == OUTSIDE:
            raise BadNetwork(_NO_STREAM, node)


def _check_stream(stream: Stream) -> None:
    if stream.source == stream.target:
        raise BadNetwork(_LOOP, stream.name)
    if (stream.mass is None) != (stream.variance is None):
        raise BadNetwork(_HALF_MEASURED, stream.name)
    if stream.mass is None or stream.variance is None:
        return
    if not (isfinite(stream.mass) and isfinite(stream.variance) and stream.variance >= 0):
        raise BadNetwork(_NO_FIGURE, stream.name)


def _joined(places: Iterable[str], edges: Iterable[tuple[str, str]]) -> dict[str, str]:
    """Return for each place the name that stands for all places joined to it by edges."""
    parent = {place: place for place in places}

    def root(place: str) -> str:
        while parent[place] != place:
            # Union-find with path halving: each look shortens the way for the next.
            parent[place] = parent[parent[place]]
            place = parent[place]
        return place

    for one, other in edges:
        first, second = root(one), root(other)
        # Outside always stands for its group, whatever it is joined to.
        keep, give = (second, first) if second == OUTSIDE else (first, second)
        parent[give] = keep
    return {place: root(place) for place in parent}


def _ends(streams: Iterable[Stream], group: Mapping[str, str]) -> list[tuple[str, str]]:
    return [(group.get(s.source, OUTSIDE), group.get(s.target, OUTSIDE)) for s in streams]


def reduce_network(streams: Sequence[Stream], nodes: Sequence[str]) -> Reduced:
    """Return the independent balances of a checked network and what its exact figures say."""
    places = {place: place for place in (OUTSIDE, *nodes)}
    unmeasured = [stream for stream in streams if stream.mass is None]
    # Joining over an unmeasured stream adds up the two balances, and the unknown falls out: the
    # same elimination as by a projection matrix, but in whole numbers.
    group = _joined(places, _ends(unmeasured, places))
    uncertain = [stream for stream in streams if stream.variance]
    # Exactly known streams move to the right-hand side: they are not to be adjusted, and a balance
    # of them alone would make the matrix singular.
    exact = [stream for stream in streams if stream.variance == 0]
    cluster = _joined(set(group.values()), _ends(uncertain, group))
    balanced = sorted({name for name in group.values() if name != OUTSIDE})
    # In a cluster without a way outside, one balance follows from the others and the exact flows.
    independent = [name for name in balanced if cluster[name] != name]
    ends = _ends(uncertain, group)
    signs = tuple(
        tuple((target == name) - (source == name) for source, target in ends)
        for name in independent
    )
    measured = [stream for stream in streams if stream.mass is not None]
    return Reduced(
        names=tuple(stream.name for stream in uncertain),
        measured=tuple(float(stream.mass or 0) for stream in uncertain),
        variances=tuple(float(stream.variance or 0) for stream in uncertain),
        signs=signs,
        around=tuple(
            frozenset(node for node in nodes if group[node] == name) for name in independent
        ),
        shared=tuple(stream.shared for stream in uncertain),
        known=tuple(_net(exact, group, {name})[0] for name in independent),
        balances=len(balanced),
        touched=frozenset(
            stream.name
            for stream, (source, target) in zip(measured, _ends(measured, group), strict=True)
            if source != target
        ),
        contradictions=_contradictions(exact, group, cluster),
    )


def _net(
    streams: Iterable[Stream], group: Mapping[str, str], inside: set[str]
) -> tuple[float, float]:
    """Return in minus out of a set of groups, and the sum of sizes it was made from."""
    flows = [
        ((target in inside) - (source in inside)) * float(stream.mass or 0)
        for stream in streams
        for source, target in _ends([stream], group)
    ]
    return fsum(flows), fsum(abs(flow) for flow in flows)


def _contradictions(
    exact: Sequence[Stream], group: Mapping[str, str], cluster: Mapping[str, str]
) -> tuple[tuple[str, ...], ...]:
    found = []
    for head in sorted(set(cluster.values()) - {OUTSIDE}):
        inside = {name for name, top in cluster.items() if top == head}
        gap, size = _net(exact, group, inside)
        # Relative to the flows that went in: an absolute limit would mean something else in
        # kilograms.
        if abs(gap) > ROUNDING * size:
            found.append(tuple(sorted(place for place, name in group.items() if name in inside)))
    return tuple(found)


def inside_of(stream: Stream, streams: Sequence[Stream], nodes: Sequence[str]) -> set[str]:
    """Return nodes whose only unmeasured stream to the rest is this one; empty if there are none.

    The balance around them gives the unmeasured stream; without them it cannot be known.
    """
    places = {place: place for place in (OUTSIDE, *nodes)}
    others = [s for s in streams if s.mass is None and s.name != stream.name]
    group = _joined(places, _ends(others, places))
    ((source, target),) = _ends([stream], group)
    # Both ends still hang together by other unmeasured streams: no balance has this one alone.
    if source == target:
        return set()
    side = source if target == OUTSIDE else target
    return {place for place, name in group.items() if name == side}


def sign(stream: Stream, inside: set[str]) -> int:
    """Return +1 for a stream into a set of places, -1 for one out of it, else 0."""
    return (stream.target in inside) - (stream.source in inside)
