"""Makes measured flows between places agree with conservation of mass, and finds what does not.

Weighted least squares with the balances as hard constraints, after Narasimhan & Jordache, *Data
Reconciliation and Gross Error Detection* (2000). A change of stock is a stream from its place to
outside, negative when the stock falls. Measurements are taken as independent; where one scale
weighs several streams its common error is not seen here (see `weighing.combine`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from math import fsum, inf, sqrt
from typing import TYPE_CHECKING

from inventory.sums.networks import (
    ROUNDING,
    BadNetwork,
    Reduced,
    Stream,
    check,
    inside_of,
    reduce_network,
    sign,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Matrix = NDArray[np.float64]

__all__ = [
    "BadNetwork",
    "Knowledge",
    "NodeResult",
    "Reconciliation",
    "Stream",
    "StreamResult",
    "Verdict",
    "gap_within",
    "reconcile",
    "sidak_critical",
]

SIGNIFICANCE = 0.05


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

    `covariance` covers the uncertain streams in the order of `uncertain_names`. `suspects` lists
    the streams whose z passes `z_critical`, worst first; deleting one lowers gamma by its z².
    Streams with the same z cannot be told apart by these balances. `contradictions` names places,
    joined where need be, whose exactly known streams alone do not balance.
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
    uncertain_names: tuple[str, ...]
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
    check(streams, nodes)
    reduced = reduce_network(streams, nodes)
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
        uncertain_names=reduced.names,
        covariance=tuple(tuple(row) for row in fit.covariance.tolist()),
        contradictions=reduced.contradictions,
    )


def sidak_critical(tests: int, significance: float = SIGNIFICANCE) -> float:
    """Return the two-sided normal limit that keeps the chance of any false alarm in `tests`."""
    from scipy.stats import norm

    each = 1 - (1 - significance) ** (1 / tests)
    return float(norm.isf(each / 2))


def gap_within(gap: float, variances: Iterable[float], k: float = 2.0) -> bool:
    """Return whether a lot closes: |in − out − stock change| at most k times its uncertainty."""
    return abs(gap) <= k * sqrt(fsum(variances))


@dataclass(frozen=True, slots=True)
class _Fit:
    gamma: float
    degrees_of_freedom: int
    adjusted: tuple[float, ...]
    covariance: Matrix
    z: tuple[float | None, ...]


def _fit(reduced: Reduced) -> _Fit:
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


def _measurement_tests(signs: Matrix, adjustment: Matrix, lost: Matrix) -> tuple[float | None, ...]:
    import numpy as np

    checked = np.any(signs != 0, axis=0)
    return tuple(
        abs(float(moved)) / sqrt(float(variance)) if tested else None
        for moved, variance, tested in zip(adjustment, np.diag(lost), checked, strict=True)
    )


def _chi_square(
    gamma: float, freedom: int, significance: float
) -> tuple[float | None, float | None]:
    if not freedom:
        return None, None
    from scipy.stats import chi2

    return float(chi2.isf(significance, freedom)), float(chi2.sf(gamma, freedom))


def _verdict(reduced: Reduced, gamma: float, gamma_critical: float | None) -> Verdict:
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


def _stream_results(
    streams: Sequence[Stream], nodes: Sequence[str], reduced: Reduced, fit: _Fit
) -> tuple[StreamResult, ...]:
    order = {name: index for index, name in enumerate(reduced.names)}
    results = []
    for stream in streams:
        if stream.mass is None:
            results.append(_unmeasured(stream, streams, nodes, (order, fit)))
            continue
        index = order.get(stream.name)
        results.append(
            StreamResult(
                stream.name,
                Knowledge.REDUNDANT if stream.name in reduced.touched else Knowledge.MEASURED_ONLY,
                stream.mass,
                stream.mass if index is None else fit.adjusted[index],
                0.0 if index is None else float(fit.covariance[index, index]),
                None if index is None else fit.z[index],
            )
        )
    return tuple(results)


def _unmeasured(
    stream: Stream,
    streams: Sequence[Stream],
    nodes: Sequence[str],
    fitted: tuple[Mapping[str, int], _Fit],
) -> StreamResult:
    import numpy as np

    order, fit = fitted
    inside = inside_of(stream, streams, nodes)
    if not inside:
        return StreamResult(stream.name, Knowledge.UNOBSERVABLE, None, None, None, None)
    direction = sign(stream, inside)
    weights = np.zeros(len(order))
    flows = []
    for other in streams:
        if other.mass is None:
            continue
        weight, index = -direction * sign(other, inside), order.get(other.name)
        flows.append(weight * (other.mass if index is None else fit.adjusted[index]))
        if index is not None:
            weights[index] = weight
    variance = float(weights @ fit.covariance @ weights)
    return StreamResult(
        stream.name, Knowledge.OBSERVABLE, None, fsum(flows), max(variance, 0.0), None
    )


def _node_results(
    streams: Sequence[Stream], nodes: Sequence[str], significance: float
) -> tuple[NodeResult, ...]:
    tested = []
    for node in nodes:
        around = [stream for stream in streams if sign(stream, {node})]
        if all(stream.mass is not None for stream in around):
            tested.append((node, *_imbalance(node, around)))
    limit = sidak_critical(len(tested), significance) if tested else inf
    return tuple(NodeResult(name, gap, z, z > limit) for name, gap, z in tested)


def _imbalance(node: str, around: Sequence[Stream]) -> tuple[float, float]:
    flows = [sign(stream, {node}) * float(stream.mass or 0) for stream in around]
    gap = fsum(flows)
    spread = sqrt(fsum(float(stream.variance or 0) for stream in around))
    if spread:
        return gap, abs(gap) / spread
    return gap, inf if abs(gap) > ROUNDING * fsum(abs(flow) for flow in flows) else 0.0
