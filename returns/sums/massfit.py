"""What the weighed mass says about a returned frame: whole, parts missing, parts too many, foreign.

Each hypothesis foretells a mass; the reading's uncertainty and the spread of the parts present add
as variances (parts taken as independent, masses as normal). Bayes' rule then weighs the
hypotheses by stated priors. Mass alone proves nothing: the verdict is a hint for the bench hand.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass
from enum import StrEnum
from itertools import combinations_with_replacement
from math import comb, erfc, exp, inf, log, pi, sqrt
from typing import Final

COMPONENTS_MAX: Final = 40
FITS_SHOWN_MAX: Final = 12


class MassFitError(ValueError):
    """Masses that cannot be weighed up. `code` is stable; `message` says what to put right."""

    def __init__(self, code: str, message: str) -> None:
        super().__init__(message)
        self.code = code
        self.message = message


class Verdict(StrEnum):
    """What the mass points to."""

    COMPLETE = "complete"
    MISSING = "missing"
    EXTRA = "extra"
    FOREIGN = "foreign"
    CANNOT_TELL = "cannot_tell"


class Explanation(StrEnum):
    """The kinds of hypothesis. Unexplained stands for a broken-off piece, dirt, a wrong model."""

    COMPLETE = "complete"
    MISSING = "missing"
    EXTRA = "extra"
    FOREIGN = "foreign"
    UNEXPLAINED = "unexplained"


@dataclass(frozen=True, slots=True)
class Component:
    """A line of the bill of materials: `count` pieces, each of a nominal mass and std. spread."""

    key: str
    nominal_mg: int
    spread_mg: float
    count: int = 1

    def __post_init__(self) -> None:
        if self.nominal_mg <= 0 or self.spread_mg < 0 or self.count < 1:
            raise MassFitError(
                "component", f"{self.key} needs a mass above zero, a spread and a count."
            )


@dataclass(frozen=True, slots=True)
class Priors:
    """How likely each kind is before weighing; all add up to 1. Our own starting values.

    The share for so many missing (or too many) is split evenly over the sets of so many pieces.
    """

    complete: float = 0.80
    one_missing: float = 0.10
    two_missing: float = 0.03
    three_missing: float = 0.005
    one_extra: float = 0.01
    two_extra: float = 0.005
    foreign: float = 0.03
    unexplained: float = 0.02

    def __post_init__(self) -> None:
        shares = astuple(self)
        if min(shares) < 0 or abs(sum(shares) - 1) > 1e-9:
            raise MassFitError("priors", "The priors must be shares that add up to 1.")

    @property
    def by_pieces(self) -> tuple[tuple[int, int, float], ...]:
        """Sign of the change of mass, how many pieces, and the share for it."""
        return (
            (-1, 1, self.one_missing),
            (-1, 2, self.two_missing),
            (-1, 3, self.three_missing),
            (+1, 1, self.one_extra),
            (+1, 2, self.two_extra),
        )


@dataclass(frozen=True, slots=True)
class Fit:
    """One hypothesis weighed up.

    `sets` lists the sets of component keys that this fit says are missing or too many: more than
    one when their masses cannot be told apart (a left and a right temple). `z` is the reading's
    distance from the foretold mass in standard uncertainties; None where none is foretold.
    """

    explanation: Explanation
    sets: tuple[tuple[str, ...], ...]
    expected_mg: int | None
    u_mg: float
    z: float | None
    likelihood: float
    posterior: float

    @property
    def missing(self) -> tuple[tuple[str, ...], ...]:
        """The sets that are missing; empty for any other explanation."""
        return self.sets if self.explanation is Explanation.MISSING else ()

    @property
    def extra(self) -> tuple[tuple[str, ...], ...]:
        """The sets that are there once too often; empty for any other explanation."""
        return self.sets if self.explanation is Explanation.EXTRA else ()


@dataclass(frozen=True, slots=True)
class MassFit:
    """The verdict with the fits behind it, likeliest first.

    `ratio` is the best posterior over the next; under the ratio limit the verdict is cannot_tell.
    """

    verdict: Verdict
    ratio: float
    fits: tuple[Fit, ...]

    @property
    def best(self) -> Fit:
        """The likeliest fit, whatever the verdict."""
        return self.fits[0]


@dataclass(frozen=True, slots=True)
class _Hypothesis:
    explanation: Explanation
    sets: tuple[tuple[str, ...], ...]
    mean_mg: int
    variance_mg2: float
    prior: float


def fit(
    *,
    mass_mg: int,
    u_mg: float,
    components: Iterable[Component],
    priors: Priors | None = None,
    ratio_limit: float = 3.0,
) -> MassFit:
    """Weigh up what a reading of `mass_mg` with standard uncertainty `u_mg` says.

    Hypotheses: all there; any one to three pieces missing; any one or two of the bill's pieces too
    many; up to a whole frame's mass of something foreign; or any mass at all (unexplained, which
    never wins a verdict of its own). Raises `MassFitError`.
    """
    parts = tuple(components)
    _require_sensible(mass_mg, u_mg, parts, ratio_limit)
    priors = priors if priors is not None else Priors()
    total_mg = sum(part.nominal_mg * part.count for part in parts)
    hypotheses = _merged(_hypotheses(parts, priors, u_mg))
    logs = [_log_likelihood(hypothesis, mass_mg, total_mg) for hypothesis in hypotheses]
    fits = _weighed(hypotheses, logs, mass_mg)
    ratio = fits[0].posterior / fits[1].posterior if fits[1].posterior > 0 else inf
    return MassFit(_verdict(fits[0], ratio, ratio_limit), ratio, fits[:FITS_SHOWN_MAX])


def _require_sensible(
    mass_mg: int, u_mg: float, parts: Sequence[Component], ratio_limit: float
) -> None:
    if mass_mg <= 0 or u_mg <= 0:
        raise MassFitError("reading", "Give a mass and an uncertainty above zero.")
    if not 1 <= len(parts) <= COMPONENTS_MAX:
        raise MassFitError("components", f"Give 1 to {COMPONENTS_MAX} components.")
    if len({part.key for part in parts}) != len(parts):
        raise MassFitError("component-twice", "Give each component once, with its count.")
    if ratio_limit < 1:
        raise MassFitError("ratio-limit", "The ratio limit must be 1 or more.")


def _hypotheses(parts: Sequence[Component], priors: Priors, u_mg: float) -> Iterator[_Hypothesis]:
    total_mg = sum(part.nominal_mg * part.count for part in parts)
    variance = sum(part.spread_mg**2 * part.count for part in parts) + u_mg**2
    yield _Hypothesis(Explanation.COMPLETE, (), total_mg, variance, priors.complete)
    yield _Hypothesis(Explanation.FOREIGN, (), total_mg, variance, priors.foreign)
    yield _Hypothesis(Explanation.UNEXPLAINED, (), total_mg, variance, priors.unexplained)
    for sign, size, share in priors.by_pieces:
        yield from _piece_sets(parts, (sign, size), share, (total_mg, variance))


def _piece_sets(
    parts: Sequence[Component],
    change: tuple[int, int],
    share: float,
    whole: tuple[int, float],
) -> Iterator[_Hypothesis]:
    """Every set of so many pieces gone (-1) or there once more (+1), each with its prior.

    A set that cannot be (a frame with nothing left) gets none; its share is lost to all alike.
    """
    (sign, size), (total_mg, variance) = change, whole
    pieces = sum(part.count for part in parts)
    ways_in_all = comb(pieces, size)
    for chosen in combinations_with_replacement(parts, size):
        ways = _ways(chosen)
        # A frame with every piece missing would not have been weighed.
        if ways and (sign > 0 or pieces > size):
            yield _Hypothesis(
                Explanation.EXTRA if sign > 0 else Explanation.MISSING,
                (tuple(part.key for part in chosen),),
                total_mg + sign * sum(part.nominal_mg for part in chosen),
                variance + sign * sum(part.spread_mg**2 for part in chosen),
                share * ways / ways_in_all,
            )


def _ways(gone: Sequence[Component]) -> int:
    """Return in how many ways these pieces can be picked; 0 when there are not so many."""
    wanted = Counter(part.key for part in gone)
    ways = 1
    for part in {part.key: part for part in gone}.values():
        ways *= comb(part.count, wanted[part.key])
    return ways


def _merged(hypotheses: Iterable[_Hypothesis]) -> list[_Hypothesis]:
    """Join the hypotheses that foretell the same mass and spread: no scale tells them apart."""
    joined: dict[tuple[Explanation, int, int], _Hypothesis] = {}
    for one in hypotheses:
        key = (one.explanation, one.mean_mg, round(one.variance_mg2 * 1000))
        other = joined.get(key)
        if other is None:
            joined[key] = one
            continue
        joined[key] = _Hypothesis(
            one.explanation,
            other.sets + one.sets,
            one.mean_mg,
            one.variance_mg2,
            other.prior + one.prior,
        )
    return list(joined.values())


def _log_likelihood(hypothesis: _Hypothesis, mass_mg: int, total_mg: int) -> float:
    """Return ln of the probability density of the reading, per mg."""
    sigma = sqrt(hypothesis.variance_mg2)
    if hypothesis.explanation is Explanation.FOREIGN:
        return _log_uniform_blur(mass_mg - total_mg, total_mg, sigma)
    if hypothesis.explanation is Explanation.UNEXPLAINED:
        return -log(2 * max(total_mg, mass_mg))
    z = (mass_mg - hypothesis.mean_mg) / sigma
    return -z * z / 2 - log(sigma * sqrt(2 * pi))


def _log_uniform_blur(excess_mg: float, width_mg: float, sigma: float) -> float:
    """Return ln of the density of (uniform on 0..width) + (normal with std sigma)."""
    root = sigma * sqrt(2)
    share = (erfc(-excess_mg / root) - erfc((width_mg - excess_mg) / root)) / 2
    # Two logarithms: the quotient of a share near the smallest float would be zero.
    return log(share) - log(width_mg) if share > 0 else -inf


def _weighed(
    hypotheses: Sequence[_Hypothesis], logs: Sequence[float], mass_mg: int
) -> tuple[Fit, ...]:
    weights = [
        log(hypothesis.prior) + log_likelihood if hypothesis.prior > 0 else -inf
        for hypothesis, log_likelihood in zip(hypotheses, logs, strict=True)
    ]
    top = max(weights)
    if top == -inf:
        raise MassFitError("priors", "These priors leave no hypothesis for the reading.")
    scaled = [exp(weight - top) for weight in weights]
    norm = sum(scaled)
    fits = [
        _fit(hypothesis, exp(log_likelihood), share / norm, mass_mg)
        for hypothesis, log_likelihood, share in zip(hypotheses, logs, scaled, strict=True)
    ]
    return tuple(sorted(fits, key=lambda one: -one.posterior))


def _fit(hypothesis: _Hypothesis, likelihood: float, posterior: float, mass_mg: int) -> Fit:
    sigma = sqrt(hypothesis.variance_mg2)
    is_point = hypothesis.explanation not in {Explanation.FOREIGN, Explanation.UNEXPLAINED}
    return Fit(
        explanation=hypothesis.explanation,
        sets=hypothesis.sets,
        expected_mg=hypothesis.mean_mg if is_point else None,
        u_mg=sigma,
        z=(mass_mg - hypothesis.mean_mg) / sigma if is_point else None,
        likelihood=likelihood,
        posterior=posterior,
    )


def _verdict(best: Fit, ratio: float, ratio_limit: float) -> Verdict:
    if ratio < ratio_limit or best.explanation is Explanation.UNEXPLAINED:
        return Verdict.CANNOT_TELL
    return Verdict(best.explanation.value)
