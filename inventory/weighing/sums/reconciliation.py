"""Makes measured flows between places agree with conservation of mass, and finds what does not.

Weighted least squares with the balances as hard constraints, after Narasimhan & Jordache, *Data
Reconciliation and Gross Error Detection* (2000). A change of stock is a stream from its place to
outside, negative when the stock falls. Streams that share a scale are correlated, and the tests
take their whole covariance: a common error is neither counted as chance nor left out. Each figure
that is worked out comes with the weights of the readings in it, for `weighing.spread_mg` to say how
well it is known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from functools import cached_property
from math import fsum, inf, sqrt
from typing import TYPE_CHECKING

from inventory.weighing.sums.networks import (
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
    "Weights",
    "reconcile",
    "sidak_critical",
]

SIGNIFICANCE = 0.05
POWER = 0.9
"""How surely the least leak that is told would be seen."""

Weights = Mapping[str, float]
"""How much of each uncertain reading, by the name of its stream, a figure is made of."""


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
    """A stream after reconciliation; `z` and `others` are None where no other figure checks it.

    `others` is what all other figures give for it without its own. `weights` and `others_weights`
    say how much of each uncertain reading, by name, is in `adjusted` and in `others`.
    """

    name: str
    knowledge: Knowledge
    measured: float | None
    adjusted: float | None
    z: float | None = None
    others: float | None = None
    weights: Weights = field(default_factory=dict)
    others_weights: Weights = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class NodeResult:
    """One place's own imbalance (in minus out); `z` is infinite if exact figures disagree.

    `spread` is its standard uncertainty.
    """

    name: str
    imbalance: float
    spread: float
    z: float
    suspect: bool


@dataclass(frozen=True, slots=True)
class Reconciliation:
    """The outcome for a network.

    `suspects` lists the streams whose z passes `z_critical`, worst first; deleting one lowers gamma
    by its z². Streams with the same z cannot be told apart by these balances. `contradictions`
    names places, joined where need be, whose exactly known streams alone do not balance.
    `least_leak` is the least mass that, lost at a place, makes the global test fail with a chance
    of `POWER`; a place that no balance of its own goes around is not in it.
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
    contradictions: tuple[tuple[str, ...], ...]
    least_leak: Mapping[str, float]

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
        contradictions=reduced.contradictions,
        least_leak=_least_leak(reduced, fit, gamma_critical),
    )


def _least_leak(reduced: Reduced, fit: _Fit, gamma_critical: float | None) -> Mapping[str, float]:
    """Return node -> the least leak that the global test sees with a chance of `POWER`.

    A leak δ at a place moves gamma's noncentrality by δ² times that place's own element of the
    inverse covariance of the gaps; the chance is that of the noncentral χ².
    """
    if gamma_critical is None:
        return {}
    from scipy.optimize import brentq
    from scipy.stats import ncx2

    def missed(noncentrality: float) -> float:
        return float(ncx2.cdf(gamma_critical, fit.degrees_of_freedom, noncentrality)) - (1 - POWER)

    # At 1,000 the chance to miss is nil for any number of balances that a workshop can have.
    needed = float(brentq(missed, 1e-9, 1_000.0))
    return {
        node: sqrt(needed / precision)
        for nodes, precision in zip(reduced.around, fit.precisions, strict=True)
        for node in nodes
    }


def sidak_critical(tests: int, significance: float = SIGNIFICANCE) -> float:
    """Return the two-sided normal limit that keeps the chance of any false alarm in `tests`."""
    from scipy.stats import norm

    # Šidák: with n independent tests at `each`, the chance of no false alarm is 1 - significance.
    each = 1 - (1 - significance) ** (1 / tests)
    return float(norm.isf(each / 2))


@dataclass(frozen=True)
class _Fit:
    """`moves` says how much of each reading (column) is taken off each flow (row).

    `pulls` and `weight` say, for each flow, how the gaps pull at its own reading and how heavily
    they do: pull over weight is the whole step to what the others give, pull over the root of the
    weight is z. `spared` has those pulls by reading. `precisions` is the diagonal of the inverse
    covariance of the gaps.
    """

    gamma: float
    degrees_of_freedom: int
    measured: Matrix
    adjustment: Matrix
    moves: Matrix
    z: tuple[float | None, ...]
    pulls: Matrix
    spared: Matrix
    precisions: tuple[float, ...]

    @cached_property
    def adjusted(self) -> Matrix:
        return self.measured - self.adjustment

    @cached_property
    def weights(self) -> Matrix:
        """How much of each reading (column) is in each adjusted flow (row)."""
        import numpy as np

        return np.eye(len(self.measured)) - self.moves


def covariance(
    variances: Sequence[float], shared: Sequence[tuple[tuple[str, float], ...]]
) -> Matrix:
    """Return the covariance matrix of streams: common errors off the diagonal, variances on it."""
    import numpy as np

    column = {key: i for i, key in enumerate(sorted({key for row in shared for key, _u in row}))}
    parts = np.zeros((len(variances), len(column)))
    for index, row in enumerate(shared):
        for key, u in row:
            parts[index, column[key]] += u
    found: Matrix = parts @ parts.T
    np.fill_diagonal(found, variances)
    return found


def _fit(reduced: Reduced) -> _Fit:
    import numpy as np

    measured = np.array(reduced.measured, dtype=np.float64)
    rank, streams = len(reduced.signs), len(measured)
    # No balance to hold the figures against: they stay as they were read, and nothing is tested.
    if not rank:
        still, none = np.zeros(streams), np.zeros((streams, streams))
        return _Fit(0.0, 0, measured, still, none, (None,) * streams, still, none, ())
    signs = np.array(reduced.signs, dtype=np.float64)
    # r = A·x + known, the gaps of the balances. The adjustment is V·Aᵀ·(A·V·Aᵀ)⁻¹·r and the global
    # test rᵀ·(A·V·Aᵀ)⁻¹·r (Narasimhan & Jordache); A·V·Aᵀ is solved and never inverted.
    residual = signs @ measured + np.array(reduced.known, dtype=np.float64)
    spread = signs @ covariance(reduced.variances, reduced.shared)
    # Solved from both sides with the balances scaled alike, for variances may differ by decades.
    scale = 1 / np.sqrt(np.einsum("ij,ij->i", spread, signs))
    inner = (spread @ signs.T) * np.outer(scale, scale)
    gaps, scaled = residual * scale, signs * scale[:, None]
    pull = np.linalg.solve(inner, spread * scale[:, None])
    eased = np.linalg.solve(inner, gaps)
    # Aᵀ·(A·V·Aᵀ)⁻¹·A and ·r: the test of one stream that has the most power where errors are
    # correlated, and the same as the usual one where they are not (Tamhane & Mah 1985).
    spared, pulls = scaled.T @ np.linalg.solve(inner, scaled), scaled.T @ eased
    return _Fit(
        gamma=float(gaps @ eased),
        degrees_of_freedom=rank,
        measured=measured,
        adjustment=pull.T @ gaps,
        moves=pull.T @ scaled,
        z=_measurement_tests(signs, pulls, np.diag(spared)),
        pulls=pulls,
        spared=spared,
        precisions=tuple((np.diag(np.linalg.inv(inner)) * scale**2).tolist()),
    )


def _measurement_tests(signs: Matrix, pulls: Matrix, weights: Matrix) -> tuple[float | None, ...]:
    """Return each flow's z."""
    import numpy as np

    # A stream that no balance touches is pulled at by nothing, and z would be nought by nought.
    checked = np.any(signs != 0, axis=0)
    return tuple(
        abs(float(pull)) / sqrt(float(weight)) if tested else None
        for pull, weight, tested in zip(pulls, weights, checked, strict=True)
    )


def _chi_square(
    gamma: float, freedom: int, significance: float
) -> tuple[float | None, float | None]:
    if not freedom:
        return None, None
    from scipy.stats import chi2

    # `isf` and `sf` keep small chances exact, where 1 - cdf would round them to nothing.
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
        touched = stream.name in reduced.touched
        knowledge = Knowledge.REDUNDANT if touched else Knowledge.MEASURED_ONLY
        # Exactly known streams have no column in the fit: they are what they are.
        if stream.name in order:
            results.append(_uncertain(stream, knowledge, order, fit))
        else:
            results.append(StreamResult(stream.name, knowledge, stream.mass, stream.mass))
    return tuple(results)


def _uncertain(
    stream: Stream, knowledge: Knowledge, order: Mapping[str, int], fit: _Fit
) -> StreamResult:
    """Return the result of an uncertain stream.

    Without its own reading the whole step is taken: what pulls at it, over the weight of that.
    """
    index = order[stream.name]
    found = StreamResult(
        stream.name,
        knowledge,
        stream.mass,
        float(fit.adjusted[index]),
        z=fit.z[index],
        weights=_named(order, fit.weights[index]),
    )
    if found.z is None:
        return found
    whole = fit.spared[index] / fit.spared[index, index]
    whole[index] = 0.0
    others = fit.measured[index] - fit.pulls[index] / fit.spared[index, index]
    return replace(found, others=float(others), others_weights=_named(order, -whole))


def _named(order: Mapping[str, int], weights: Matrix) -> Weights:
    return dict(zip(order, weights.tolist(), strict=True))


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
        return StreamResult(stream.name, Knowledge.UNOBSERVABLE, None, None)
    direction = sign(stream, inside)
    weights = np.zeros(len(order))
    flows = []
    for other in streams:
        if other.mass is None:
            continue
        weight, index = -direction * sign(other, inside), order.get(other.name)
        flows.append(weight * (other.mass if index is None else float(fit.adjusted[index])))
        if index is not None:
            weights[index] = weight
    in_it = _named(order, weights @ fit.weights)
    return StreamResult(stream.name, Knowledge.OBSERVABLE, None, fsum(flows), weights=in_it)


def _node_results(
    streams: Sequence[Stream], nodes: Sequence[str], significance: float
) -> tuple[NodeResult, ...]:
    tested = []
    for node in nodes:
        around = [stream for stream in streams if sign(stream, {node})]
        # One unknown leg and the gap may be anything: such a place has no test of its own.
        if all(stream.mass is not None for stream in around):
            tested.append((node, *_imbalance(node, around)))
    limit = sidak_critical(len(tested), significance) if tested else inf
    return tuple(NodeResult(name, gap, u, z, z > limit) for name, gap, u, z in tested)


def _imbalance(node: str, around: Sequence[Stream]) -> tuple[float, float, float]:
    import numpy as np

    signs = np.array([sign(stream, {node}) for stream in around], dtype=np.float64)
    flows = [way * float(stream.mass or 0) for way, stream in zip(signs, around, strict=True)]
    gap = fsum(flows)
    among = covariance(
        [float(stream.variance or 0) for stream in around], [stream.shared for stream in around]
    )
    spread = sqrt(max(0.0, float(signs @ among @ signs)))
    if spread:
        return gap, spread, abs(gap) / spread
    # All legs are exact: any true gap is then beyond chance, but the floats' own noise is none.
    beyond = abs(gap) > ROUNDING * fsum(abs(flow) for flow in flows)
    return gap, spread, inf if beyond else 0.0
