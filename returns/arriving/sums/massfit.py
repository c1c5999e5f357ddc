"""What the weighed mass says about a returned frame: whole, or parts missing, too many, exchanged.

Each hypothesis foretells a mass; the reading's uncertainty and the spread of the parts present add
as variances (parts taken as independent, masses as normal). Bayes' rule then weighs the
hypotheses by stated priors. Mass alone proves nothing: the verdict is a hint for the bench hand.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import erfc, exp, inf, log, pi, sqrt
from typing import Final

from returns.arriving.sums.mass_hypotheses import (
    Change,
    Component,
    Explanation,
    Hypothesis,
    MassFitError,
    Priors,
    hypotheses,
    merged,
)

COMPONENTS_MAX: Final = 40
OTHERS_MAX: Final = 400
FITS_SHOWN_MAX: Final = 12
_OF_ANY_MASS: Final = frozenset({Explanation.FOREIGN, Explanation.MISSING_AND_FOREIGN})


@dataclass(frozen=True, slots=True)
class Fit:
    """One hypothesis weighed up.

    `changes` lists what this fit says is missing, too many or exchanged: more than one change
    when their masses cannot be told apart (a left and a right temple). `z` is the reading's
    distance from the foretold mass in standard uncertainties; None where none is foretold.
    """

    explanation: Explanation
    changes: tuple[Change, ...]
    expected_mg: int | None
    u_mg: float
    z: float | None
    likelihood: float
    posterior: float

    @property
    def missing(self) -> tuple[tuple[str, ...], ...]:
        """The sets that are missing, with nothing of ours in their place."""
        alone = (Explanation.MISSING, Explanation.MISSING_AND_FOREIGN)
        return tuple(one.gone for one in self.changes if self.explanation in alone)

    @property
    def extra(self) -> tuple[tuple[str, ...], ...]:
        """The sets that are there once too often; empty for any other explanation."""
        return tuple(one.come for one in self.changes if self.explanation is Explanation.EXTRA)

    @property
    def exchanged(self) -> tuple[Change, ...]:
        """The exchanges of one piece for another; empty for any other explanation."""
        return self.changes if self.explanation is Explanation.EXCHANGED else ()


@dataclass(frozen=True, slots=True)
class MassFit:
    """The verdict with the fits behind it, likeliest first.

    The verdict is the likeliest explanation, or None where the mass alone cannot tell: it is
    unexplained, or `ratio`, its posterior over the next, is under the ratio limit.
    """

    verdict: Explanation | None
    ratio: float
    fits: tuple[Fit, ...]

    @property
    def best(self) -> Fit:
        """The likeliest fit, whatever the verdict."""
        return self.fits[0]


def fit(
    *,
    mass_mg: int,
    u_mg: float,
    components: Iterable[Component],
    others: Iterable[Component] = (),
    priors: Priors | None = None,
    ratio_limit: float = 3.0,
) -> MassFit:
    """Weigh up what a reading of `mass_mg` with standard uncertainty `u_mg` says.

    Hypotheses: all there; any one to three pieces missing; any one or two of the bill's pieces too
    many; one missing and another one too many; one exchanged for its like in `others`, the pieces
    of other models under the bill's keys; up to a whole frame's mass of something foreign, with
    nothing or one piece missing; or any mass at all (unexplained, which never wins a verdict of
    its own). At most 15 203 of them. Raises `MassFitError`.
    """
    parts, likes = tuple(components), tuple(others)
    _require_sensible(mass_mg, u_mg, parts, ratio_limit)
    if len(likes) > OTHERS_MAX:
        raise MassFitError("others", f"Give at most {OTHERS_MAX} pieces of other models.")
    priors = priors if priors is not None else Priors()
    total_mg = sum(part.nominal_mg * part.count for part in parts)
    weighed = merged(hypotheses(parts, likes, priors, u_mg))
    logs = [_log_likelihood(hypothesis, mass_mg, total_mg) for hypothesis in weighed]
    # Foreign and unexplained are always among them, so there is a second fit to compare with.
    fits = _weighed(weighed, logs, mass_mg)
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


def _log_likelihood(hypothesis: Hypothesis, mass_mg: int, total_mg: int) -> float:
    """Return ln of the probability density of the reading, per mg."""
    sigma = sqrt(hypothesis.variance_mg2)
    if hypothesis.explanation in _OF_ANY_MASS:
        return _log_uniform_blur(mass_mg - hypothesis.mean_mg, total_mg, sigma)
    if hypothesis.explanation is Explanation.UNEXPLAINED:
        # As likely at any mass up to twice the frame: flat, so that it wins only where nothing else
        # explains the reading.
        return -log(2 * max(total_mg, mass_mg))
    z = (mass_mg - hypothesis.mean_mg) / sigma
    return -z * z / 2 - log(sigma * sqrt(2 * pi))


def _log_uniform_blur(excess_mg: float, width_mg: float, sigma: float) -> float:
    """Return ln of the density of (uniform on 0..width) + (normal with std sigma)."""
    # The difference of two normal distribution functions, written with erfc, which keeps its digits
    # far below the range; far above it the two cancel to zero, which the -inf stands for.
    root = sigma * sqrt(2)
    share = (erfc(-excess_mg / root) - erfc((width_mg - excess_mg) / root)) / 2
    # Two logarithms: the quotient of a share near the smallest float would be zero.
    return log(share) - log(width_mg) if share > 0 else -inf


def _weighed(weighed: Sequence[Hypothesis], logs: Sequence[float], mass_mg: int) -> tuple[Fit, ...]:
    weights = [
        log(hypothesis.prior) + log_likelihood if hypothesis.prior > 0 else -inf
        for hypothesis, log_likelihood in zip(weighed, logs, strict=True)
    ]
    # Bayes' rule in logarithms. The largest is taken off before exp, for densities many spreads
    # away underflow to zero and 0 / 0 would be left.
    top = max(weights)
    if top == -inf:
        raise MassFitError("priors", "These priors leave no hypothesis for the reading.")
    scaled = [exp(weight - top) for weight in weights]
    norm = sum(scaled)
    fits = [
        _fit(hypothesis, exp(log_likelihood), share / norm, mass_mg)
        for hypothesis, log_likelihood, share in zip(weighed, logs, scaled, strict=True)
    ]
    return tuple(sorted(fits, key=lambda one: -one.posterior))


def _fit(hypothesis: Hypothesis, likelihood: float, posterior: float, mass_mg: int) -> Fit:
    sigma = sqrt(hypothesis.variance_mg2)
    is_point = hypothesis.explanation not in _OF_ANY_MASS | {Explanation.UNEXPLAINED}
    return Fit(
        explanation=hypothesis.explanation,
        changes=hypothesis.changes,
        expected_mg=hypothesis.mean_mg if is_point else None,
        u_mg=sigma,
        z=(mass_mg - hypothesis.mean_mg) / sigma if is_point else None,
        likelihood=likelihood,
        posterior=posterior,
    )


def _verdict(best: Fit, ratio: float, ratio_limit: float) -> Explanation | None:
    if ratio < ratio_limit or best.explanation is Explanation.UNEXPLAINED:
        return None
    return best.explanation
