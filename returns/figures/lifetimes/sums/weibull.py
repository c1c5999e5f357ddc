"""Weibull fits by maximum likelihood, from units that failed and units still in use.

Failures may be known exactly or only between two spans (read-out data). Sources of the likelihood:
Meeker & Escobar, Statistical Methods for Reliability Data, 1998, chapters 7 and 8 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from inventory.wording import gettext_noop
from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.lifetimes.sums.lifetimes import (
    FAILURES_MIN,
    Exposure,
    need,
    normal_quantile,
)

if TYPE_CHECKING:
    from numpy import bool_, float64, floating
    from numpy.typing import NDArray


# The workshop's own choice: a flatter curve has its mean far beyond anything that was seen.
SHAPE_MIN = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Weibull:
    """A Weibull fit: shape beta, scale eta, location mu = ln eta, spread sigma = 1 / beta.

    `covariance` is (var mu, cov mu sigma, var sigma) from the observed information.
    """

    mu: float
    sigma: float
    covariance: tuple[float, float, float]
    log_likelihood: float
    failures: int
    units: int

    @property
    def shape(self) -> float:
        """Beta."""
        return 1 / self.sigma

    @property
    def scale(self) -> float:
        """Eta, in the unit of the spans."""
        return math.exp(self.mu)

    @property
    def shape_standard_error(self) -> float:
        """Standard error of beta, se(sigma) / sigma squared."""
        return math.sqrt(self.covariance[2]) / self.sigma**2

    @property
    def scale_standard_error(self) -> float:
        """Standard error of eta, eta se(mu)."""
        return self.scale * math.sqrt(self.covariance[0])

    @property
    def mean(self) -> float:
        """Mean life, eta Gamma(1 + 1/beta)."""
        return self.scale * math.gamma(1 + self.sigma)

    def life_at(self, share: float) -> float:
        """Return B_p, the span by which `share` (between 0 and 1) have failed."""
        if not 0 < share < 1:
            raise InputRefused("Give a failed share between 0 and 1.")
        # log1p keeps the digits of a small share, where 1 - share would round them away.
        return self.scale * math.pow(-math.log1p(-share), self.sigma)

    def life_limits(self, share: float, *, coverage: float = 0.95) -> tuple[float, float]:
        """Return two-sided normal limits of B_p, formed on its logarithm."""
        point = self.life_at(share)
        standard = math.log(-math.log1p(-share))
        var_mu, covariance, var_sigma = self.covariance
        # ln B_p = mu + sigma * ln(-ln(1 - p)) is linear in both parameters: its variance is exact,
        # and on the logarithm no limit can fall below zero.
        error = math.sqrt(var_mu + 2 * standard * covariance + standard**2 * var_sigma)
        factor = math.exp(normal_quantile(coverage) * error)
        return point / factor, point * factor


def weibull_fit(exposures: Iterable[Exposure], *, failures_min: int = FAILURES_MIN) -> Weibull:
    """Return the maximum-likelihood Weibull fit of failed and still-used units.

    With exact failure spans the shape solves the profile-likelihood equation, which has one root
    when spans differ. A failure known to lie between two spans adds ln(S(since) - S(span)). Raises
    NotEnoughEvidence, and InputRefused for a fit flatter than `SHAPE_MIN`.
    """
    rows = tuple(exposures)
    failures = sum(row.units for row in rows if row.cause)
    need("failures", failures, max(failures_min, 2))
    need("different spans", len({row.span for row in rows}), 2)
    if any(row.since is not None for row in rows):
        need("different failure spans", _distinct_spans(rows), 2)
        fit = _read_out(_Rows.of(rows))
    else:
        fit = _exact(_Rows.of(rows))
    if fit.shape < SHAPE_MIN:
        raise InputRefused(
            gettext_noop("Nearly all that came back came at one age: no curve can be fitted.")
        )
    return fit


def _distinct_spans(rows: Sequence[Exposure]) -> int:
    """Count, up to 2, the spans at which some units are seen to have failed and others not.

    With one such span alone any shape fits, the steeper the better. An exact span tells more.
    """
    failed = [row for row in rows if row.cause]
    if any(row.since is None for row in failed):
        return 2
    first = min(row.span for row in failed)
    last = max(row.span if not row.cause else row.since or 0.0 for row in rows)
    ends = {end for row in failed for end in (row.span, row.since) if end}
    return min(2, sum(first <= end <= last for end in ends))


@dataclass(frozen=True, slots=True)
class _Rows:
    """The exposures as columns; `since` is NaN where a failure span is exact, or none failed."""

    spans: NDArray[float64]
    since: NDArray[float64]
    units: NDArray[float64]
    failed: NDArray[bool_]

    @classmethod
    def of(cls, rows: Iterable[Exposure]) -> _Rows:
        import numpy as np

        listed = tuple(rows)
        return cls(
            spans=np.array([row.span for row in listed], dtype=float),
            since=np.array([np.nan if row.since is None else row.since for row in listed]),
            units=np.array([row.units for row in listed], dtype=float),
            failed=np.array([bool(row.cause) for row in listed]),
        )


def _exact(rows: _Rows) -> Weibull:
    """Failures at exact spans; `since` is not looked at."""
    import numpy as np

    spans, units, failed = rows.spans, rows.units, rows.failed
    # Given the shape, the scale follows in closed form: eta ** beta = sum(t ** beta) / failures.
    failures, shape = float(units[failed].sum()), _profile_shape(rows)
    sigma = 1 / shape
    # Spans are taken relative to the largest so that powers cannot overflow.
    top = float(spans.max())
    mu = math.log(top) + sigma * math.log((units * (spans / top) ** shape).sum() / failures)
    z = (np.log(spans) - mu) / sigma
    force = units * np.exp(z)
    density = (units * (z - math.log(sigma) - np.log(spans)))[failed].sum()
    # Observed information in (mu, sigma) at the maximum, times sigma squared.
    cross = (z * force).sum()
    information = [[force.sum(), cross], [cross, failures + (z * z * force).sum()]]
    return Weibull(
        mu=mu,
        sigma=sigma,
        covariance=_upper(np.linalg.inv(np.array(information)) * sigma**2),
        log_likelihood=float(density - force.sum()),
        failures=round(failures),
        units=round(float(units.sum())),
    )


def _read_out(rows: _Rows) -> Weibull:
    """Failures between two spans: from the fit of their middles uphill, with the exact gradient."""
    import numpy as np
    from scipy.optimize import minimize

    between = ~np.isnan(rows.since)
    middles = np.where(between, (rows.spans + np.nan_to_num(rows.since)) / 2, rows.spans)
    # The fit of the middles lies near: from a far start BFGS may wander into a flat corner.
    start = _exact(replace(rows, spans=middles))

    def downhill(at: NDArray[float64]) -> tuple[float, NDArray[float64]]:
        # Searched over ln sigma, so that sigma stays above zero without a bound; the slope by ln
        # sigma is the slope by sigma times sigma.
        value, by_mu, by_sigma = _likelihood(rows, float(at[0]), math.exp(float(at[1])))
        return -value, np.array([-by_mu, -by_sigma * math.exp(float(at[1]))])

    # A trial step may reach so far that the hazard overflows to infinity: the search then steps
    # back.
    with np.errstate(over="ignore"):
        found = minimize(
            downhill,
            np.array([start.mu, math.log(start.sigma)]),
            jac=True,
            method="BFGS",
            # The gradient is a sum over units and grows with them, so the tolerance grows as well.
            options={"gtol": 1e-7 * max(1.0, float(rows.units[rows.failed].sum()))},
        )
    mu, sigma = float(found.x[0]), math.exp(float(found.x[1]))
    return Weibull(
        mu=mu,
        sigma=sigma,
        # The inverse Hessian that BFGS builds on its way is a by-product, too coarse for standard
        # errors.
        covariance=_upper(np.linalg.inv(_information(rows, mu, sigma))),
        log_likelihood=-float(found.fun),
        failures=start.failures,
        units=start.units,
    )


def _upper(matrix: NDArray[floating[Any]]) -> tuple[float, float, float]:
    return float(matrix[0, 0]), float(matrix[0, 1]), float(matrix[1, 1])


def _information(rows: _Rows, mu: float, sigma: float) -> NDArray[float64]:
    """Observed information in (mu, sigma): central differences of the exact gradient."""
    import numpy as np

    step = 1e-5 * sigma
    columns = []
    for d_mu, d_sigma in ((step, 0.0), (0.0, step)):
        high = _likelihood(rows, mu + d_mu, sigma + d_sigma)
        low = _likelihood(rows, mu - d_mu, sigma - d_sigma)
        columns.append([(low[1] - high[1]) / (2 * step), (low[2] - high[2]) / (2 * step)])
    information = np.array(columns)
    # Differencing leaves the two off-diagonal values a little apart; the matrix must be symmetric.
    return np.asarray((information + information.T) / 2)


def _likelihood(rows: _Rows, mu: float, sigma: float) -> tuple[float, float, float]:
    """Return the log-likelihood and its slopes by mu and by sigma."""
    import numpy as np

    between = ~np.isnan(rows.since)
    exact = rows.failed & ~between
    # ln L of one unit, with H = e ** z: still in use -H; failed at t exactly z - H - ln(sigma t);
    # failed between two spans ln(S0 - S1) = -H0 + ln(1 - e ** -(H1 - H0)).
    z, force, by_mu, by_sigma = _force(rows.spans, mu, sigma)
    value, of_mu, of_sigma = -force, -by_mu, -by_sigma
    value = value + exact * (z - math.log(sigma) - np.log(rows.spans))
    of_mu, of_sigma = of_mu - exact / sigma, of_sigma - exact * (z + 1) / sigma
    _z, earlier, early_mu, early_sigma = _force(np.nan_to_num(rows.since), mu, sigma)
    # The 1 stands where no interval is: both branches of `where` are computed, and log(0) would
    # warn.
    more = np.where(between, force - earlier, 1.0)
    # expm1 keeps the digits of a narrow interval, where 1 - exp(-x) would lose them.
    share = -np.expm1(-more)
    value = np.where(between, np.log(share) - earlier, value)
    left = np.exp(-more)
    of_mu = np.where(between, (left * by_mu - early_mu) / share, of_mu)
    of_sigma = np.where(between, (left * by_sigma - early_sigma) / share, of_sigma)
    return _sum(rows.units * value), _sum(rows.units * of_mu), _sum(rows.units * of_sigma)


def _sum(parts: NDArray[float64]) -> float:
    return float(parts.sum())


def _force(
    spans: NDArray[float64], mu: float, sigma: float
) -> tuple[NDArray[float64], NDArray[float64], NDArray[float64], NDArray[float64]]:
    """Return z, the cumulative hazard e**z, and its slopes by mu and by sigma; 0 at span 0."""
    import numpy as np

    # Span 0 is the start of life: no hazard yet. The inner `where` keeps log(0) from being taken at
    # all.
    z = np.where(spans > 0, (np.log(np.where(spans > 0, spans, 1.0)) - mu) / sigma, -np.inf)
    force = np.exp(z)
    return z, force, -force / sigma, -np.where(spans > 0, z, 0.0) * force / sigma


def _profile_shape(rows: _Rows) -> float:
    import numpy as np
    from scipy.optimize import brentq

    units, failed = rows.units, rows.failed
    # Relative to the largest span every power is at most 1, whatever shape the search tries.
    logs = np.log(rows.spans / rows.spans.max())
    mean_log = float((units * logs)[failed].sum() / units[failed].sum())

    def slope(shape: float) -> float:
        # sum(t ** b ln t) / sum(t ** b) - 1 / b - mean of ln t over the failures; it rises with b.
        weights = units * np.exp(shape * logs)
        return float((weights * logs).sum() / weights.sum()) - 1 / shape - mean_log

    return float(brentq(slope, *_bracket(slope), xtol=1e-13, rtol=1e-13, maxiter=500))


def _bracket(slope: Callable[[float], float]) -> tuple[float, float]:
    high = 1.0
    # At 0.001 the term 1 / b alone is 1000 and outweighs every difference of logarithms: the slope
    # is below zero there. Equal failure spans at the top never bring it above, hence the end of the
    # doubling.
    while slope(high) < 0:
        high *= 2
        if high > 1e6:
            raise NotEnoughEvidence(of="different failure spans", have=1, need=2)
    return 1e-3, high


def censored_for(exposures: Iterable[Exposure], cause: str) -> tuple[Exposure, ...]:
    """Return the exposures with every other cause read as "still in use" up to then.

    What another cause took between two spans is taken as in use up to their middle.
    """
    return tuple(row if row.cause == cause else _in_use(row) for row in exposures)


def _in_use(row: Exposure) -> Exposure:
    # Between two spans the other cause took it at a moment not seen; the middle errs to neither
    # side.
    span = row.span if row.since is None else (row.since + row.span) / 2
    return replace(row, cause="", since=None, span=span)


def cause_weibull(
    exposures: Iterable[Exposure], *, cause: str, failures_min: int = FAILURES_MIN
) -> Weibull:
    """Return the fit of one cause; NotEnoughEvidence where it took fewer than `failures_min`."""
    return weibull_fit(censored_for(exposures, cause), failures_min=failures_min)
