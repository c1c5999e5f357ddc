"""Makes measured flows between places agree with conservation of mass, and finds what does not.

Weighted least squares with the balances as hard constraints, after Narasimhan & Jordache, *Data
Reconciliation and Gross Error Detection* (2000). A place that must balance is a node; every other
place is outside. A change of stock is a stream from its place to outside, negative when the stock
falls. The graph is reduced by joining places before any matrix is formed: two places joined by an
unmeasured stream can only be balanced together. Measurements are taken as independent; where one
scale weighs several streams its common error is not seen here (see `weighing.combine`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import fsum, isfinite, sqrt
from typing import TYPE_CHECKING, ClassVar

from inventory.sums.wording import gettext_noop

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Matrix = NDArray[np.float64]

OUTSIDE = ""
SIGNIFICANCE = 0.05
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


class Verdict(StrEnum):
    """What the balances say taken together."""

    CLOSES = "closes"
    DOES_NOT_CLOSE = "does_not_close"
    CANNOT_BE_CHECKED = "cannot_be_checked"


class Knowledge(StrEnum):
    """How well a stream is known: redundant ones are checked by others, unobservable by none."""

    REDUNDANT = "redundant"
    MEASURED_ONLY = "measured_only"
    OBSERVABLE = "observable"
    UNOBSERVABLE = "unobservable"


@dataclass(frozen=True, slots=True)
class Stream:
    """A flow from one place to another; mass and variance share a unit (mg and mg²).

    Without a mass it is unmeasured; with variance 0 it is known exactly and never adjusted.
    """

    name: str
    source: str
    target: str
    mass: float | None = None
    variance: float | None = None


@dataclass(frozen=True, slots=True)
class StreamResult:
    """One stream after reconciliation; `z` is None where no other figure checks it."""

    name: str
    knowledge: Knowledge
    measured: float | None
    adjusted: float | None
    variance: float | None
    z: float | None


@dataclass(frozen=True, slots=True)
class NodeResult:
    """One place's own imbalance (in minus out); `z` is infinite if exact figures disagree."""

    name: str
    imbalance: float
    z: float
    suspect: bool


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """The outcome for a network.

    `covariance` covers the measured streams in the order of `measured_names`. `suspects` lists the
    streams whose z passes `z_critical`, worst first. `contradictions` names places, joined where
    need be, whose exactly known streams alone do not balance.
    """

    verdict: Verdict
    gamma: float
    degrees_of_freedom: int
    gamma_critical: float | None
    p_value: float | None
    streams: tuple[StreamResult, ...]
    nodes: tuple[NodeResult, ...]
    suspects: tuple[str, ...]
    z_critical: float | None
    measured_names: tuple[str, ...]
    covariance: tuple[tuple[float, ...], ...]
    contradictions: tuple[tuple[str, ...], ...]

    @property
    def closes(self) -> bool:
        """True only if the balances were checked and hold."""
        return self.verdict is Verdict.CLOSES

    def stream(self, name: str) -> StreamResult:
        """Return the result of one stream; KeyError if there is none of that name."""
        return {result.name: result for result in self.streams}[name]


def reconcile(
    streams: Sequence[Stream], nodes: Sequence[str], *, significance: float = SIGNIFICANCE
) -> Reconciliation:
    """Return adjusted flows and the tests of a network of any size.

    Args:
        streams: flows between places; places that are not in `nodes` are outside.
        nodes: places whose streams must sum to zero, stock change included.
        significance: chance of a false alarm, for the global test and for all streams together.

    Raises:
        BadNetwork: a stream or place is unusable.
    """
    nodes = tuple(dict.fromkeys(nodes))
    _check(streams, nodes)
    reduced = _reduce(streams, nodes)
    fit = _fit(reduced)
    z_by_name = dict(zip(reduced.names, fit.z, strict=True))
    tested = [z for z in fit.z if z is not None]
    z_critical = sidak_critical(len(tested), significance) if tested else None
    gamma_critical, p_value = _chi_square(fit.gamma, fit.degrees_of_freedom, significance)
    results = _stream_results(streams, nodes, reduced, fit)
    return Reconciliation(
        verdict=_verdict(reduced, fit.gamma, gamma_critical),
        gamma=fit.gamma,
        degrees_of_freedom=fit.degrees_of_freedom,
        gamma_critical=gamma_critical,
        p_value=0.0 if reduced.contradictions else p_value,
        streams=results,
        nodes=_node_results(streams, nodes, significance),
        suspects=_suspects(z_by_name, z_critical),
        z_critical=z_critical,
        measured_names=reduced.names,
        covariance=tuple(tuple(row) for row in fit.covariance.tolist()),
        contradictions=reduced.contradictions,
    )


def sidak_critical(tests: int, significance: float = SIGNIFICANCE) -> float:
    """Return the two-sided normal limit that keeps the chance of any false alarm in `tests`."""
    from scipy.stats import norm

    each = -((1 - significance) ** (1 / tests)) + 1
    return float(norm.isf(each / 2))


def gap_within(gap: float, variances: Iterable[float], k: float = 2.0) -> bool:
    """Return whether a lot closes: |in − out − stock change| at most k times its uncertainty."""
    return abs(gap) <= k * sqrt(fsum(variances))


@dataclass(frozen=True, slots=True)
class _Reduced:
    """Independent balances over uncertain measured streams: signs · x = −known."""

    names: tuple[str, ...]
    measured: tuple[float, ...]
    variances: tuple[float, ...]
    signs: tuple[tuple[int, ...], ...]
    known: tuple[float, ...]
    balances: int
    touched: frozenset[str]
    contradictions: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class _Fit:
    gamma: float
    degrees_of_freedom: int
    adjusted: tuple[float, ...]
    covariance: Matrix
    z: tuple[float | None, ...]


def _check(streams: Sequence[Stream], nodes: Sequence[str]) -> None:
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


def _reduce(streams: Sequence[Stream], nodes: Sequence[str]) -> _Reduced:
    places = {place: place for place in (OUTSIDE, *nodes)}
    unmeasured = [stream for stream in streams if stream.mass is None]
    group = _joined(places, _ends(unmeasured, places))
    uncertain = [stream for stream in streams if stream.variance]
    exact = [stream for stream in streams if stream.variance == 0]
    cluster = _joined(set(group.values()), _ends(uncertain, group))
    balanced = sorted({name for name in group.values() if name != OUTSIDE})
    # In a cluster without a way outside, one balance follows from the others and the exact flows.
    independent = [name for name in balanced if cluster[name] != name]
    independent += [name for name in balanced if cluster[name] == OUTSIDE and name == OUTSIDE]
    ends = _ends(uncertain, group)
    signs = tuple(
        tuple((target == name) - (source == name) for source, target in ends)
        for name in independent
    )
    measured = [stream for stream in streams if stream.mass is not None]
    return _Reduced(
        names=tuple(stream.name for stream in uncertain),
        measured=tuple(float(stream.mass or 0) for stream in uncertain),
        variances=tuple(float(stream.variance or 0) for stream in uncertain),
        signs=signs,
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
        if abs(gap) > ROUNDING * size:
            found.append(tuple(sorted(place for place, name in group.items() if name in inside)))
    return tuple(found)


def _fit(reduced: _Reduced) -> _Fit:
    import numpy as np

    variances = np.array(reduced.variances, dtype=np.float64)
    measured = np.array(reduced.measured, dtype=np.float64)
    rank = len(reduced.signs)
    if not rank:
        untested: tuple[float | None, ...] = (None,) * len(reduced.names)
        return _Fit(0.0, 0, reduced.measured, np.diag(variances), untested)
    signs = np.array(reduced.signs, dtype=np.float64)
    residual = signs @ measured + np.array(reduced.known, dtype=np.float64)
    spread = signs * variances
    # Solved from both sides with the balances scaled alike, for variances may differ by decades.
    scale = 1 / np.sqrt(np.einsum("ij,ij->i", spread, signs))
    inner = (spread @ signs.T) * np.outer(scale, scale)
    pull = np.linalg.solve(inner, spread * scale[:, None])
    adjustment = pull.T @ (residual * scale)
    lost = (spread * scale[:, None]).T @ pull
    gamma = float((residual * scale) @ np.linalg.solve(inner, residual * scale))
    return _Fit(
        gamma,
        rank,
        tuple((measured - adjustment).tolist()),
        np.diag(variances) - lost,
        _measurement_tests(signs, adjustment, lost),
    )


def _measurement_tests(
    signs: Matrix, adjustment: Matrix, lost: Matrix
) -> tuple[float | None, ...]:
    import numpy as np

    checked = np.any(signs != 0, axis=0)
    return tuple(
        abs(float(moved)) / sqrt(float(variance)) if tested else None
        for moved, variance, tested in zip(adjustment, np.diag(lost), checked, strict=True)
    )


def _chi_square(gamma: float, freedom: int, significance: float) -> tuple[float | None, float | None]:
    if not freedom:
        return None, None
    from scipy.stats import chi2

    return float(chi2.isf(significance, freedom)), float(chi2.sf(gamma, freedom))


def _verdict(reduced: _Reduced, gamma: float, gamma_critical: float | None) -> Verdict:
    if reduced.contradictions:
        return Verdict.DOES_NOT_CLOSE
    if not reduced.balances:
        return Verdict.CANNOT_BE_CHECKED
    if gamma_critical is not None and gamma > gamma_critical:
        return Verdict.DOES_NOT_CLOSE
    return Verdict.CLOSES


def _suspects(z_by_name: Mapping[str, float | None], z_critical: float | None) -> tuple[str, ...]:
    if z_critical is None:
        return ()
    over = {name: z for name, z in z_by_name.items() if z is not None and z > z_critical}
    return tuple(sorted(over, key=lambda name: (-over[name], name)))
