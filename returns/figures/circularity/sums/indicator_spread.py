"""How unsure the inputs of the circularity indicator are, as spreads for its simulation.

An interval at 95 % becomes a triangle whose tails beyond its limits hold 5 %. The use factor's
spread is that of the mean life that the workshop's own returns tell.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from returns.figures.circularity.sums.circularity import (
    Component,
    Propagated,
    Spread,
    material_circularity,
    propagate,
)
from returns.figures.lifetimes.sums.lifetimes import normal_quantile
from returns.figures.lifetimes.sums.weibull import Weibull

# The workshop's own choice: half of the units must have failed before their mean life is used.
STILL_OUT_MAX = 0.5

# A side of a triangle from its mode m to its end e has the share t * t beyond m + (1 - t)(e - m).
_TAIL = math.sqrt(0.05)


def of_interval(low: float, mode: float, high: float) -> Spread:
    """Return the triangle around `mode` with 5 % beyond the two limits, cut to 0..1.

    Derived: on each side the share beyond a limit at part 1 - t of the way to the end is t squared.
    """
    reach = 1 / (1 - _TAIL)
    return Spread(
        low=max(0.0, mode - (mode - low) * reach),
        mode=mode,
        high=min(1.0, mode + (high - mode) * reach),
    )


def mean_life_factor(fit: Weibull, *, coverage: float = 0.95) -> float:
    """Return f: the mean life lies between mean / f and mean * f (delta method on its logarithm).

    ln mean = mu + ln Gamma(1 + sigma), so its variance is
    var mu + 2 psi(1 + sigma) cov + psi(1 + sigma)^2 var sigma.
    """
    from scipy.special import digamma

    # psi, the derivative of ln Gamma: the mean is eta Gamma(1 + sigma).
    slope = float(digamma(1 + fit.sigma))
    var_mu, covariance, var_sigma = fit.covariance
    variance = var_mu + 2 * slope * covariance + slope**2 * var_sigma
    return math.exp(normal_quantile(coverage) * math.sqrt(max(0.0, variance)))


def measured_use(mean_months: float, *, still_out: float, expected_months: float) -> float | None:
    """Return X = mean life / the life that the trade expects, or None where it is not measured.

    `still_out` is the share of units without a failure by the oldest age seen. Own choice: while
    more than `STILL_OUT_MAX` of them are out, the mean is mostly the curve drawn on beyond what was
    seen, and a long life may not be claimed from that. A first return ends a life here, though a
    mended frame goes on: the figure is on the low side.
    """
    if expected_months <= 0 or still_out > STILL_OUT_MAX:
        return None
    return mean_months / expected_months


@dataclass(frozen=True, slots=True, kw_only=True)
class Inputs:
    """What the indicator of a model rests on: shares 0..1 with limits at 95 %, and masses in mg.

    `use` is X, 1 where the life is taken as the trade's; `use_factor` is 1 where nothing is known
    of the spread of the mean life.
    """

    frame_mg: int
    rest_mg: int
    recycled_in: float
    collected: tuple[float, float, float]
    reused: float
    recovered: tuple[float, float, float]
    use: float = 1.0
    use_factor: float = 1.0


def indicator(given: Inputs, *, collected: float, recovered: float, use: float = 1.0) -> float:
    """Return the indicator for one set of values. Own yield serves for the feedstock's too."""
    frame = Component(
        mass_mg=given.frame_mg,
        recycled_in=given.recycled_in,
        # A drawn share collected may not claim what was salvaged already: the two fates fill one
        # whole.
        recycled_out=min(collected, 1 - given.reused),
        reused_out=given.reused,
        recycling_yield=recovered,
        feedstock_yield=recovered,
    )
    rest = [Component(mass_mg=given.rest_mg)] if given.rest_mg else []
    return material_circularity([frame, *rest], utility_ratio=use).indicator


def simulated(given: Inputs, *, seed: int, draws: int = 1000) -> Propagated:
    """Return the indicator's 95 % interval, its three inputs drawn independently."""
    middle = math.log(given.use)
    # From the limit at 95 % to the end of the triangle, as in `of_interval`.
    arm = math.log(max(1.0, given.use_factor)) / (1 - _TAIL)
    spreads = {
        "collected": of_interval(*given.collected),
        "recovered": of_interval(*given.recovered),
        # On the logarithm, so that a use factor stays above 0 however wide its spread.
        "log_use": Spread(low=middle - arm, mode=middle, high=middle + arm),
    }
    return propagate(
        lambda drawn: indicator(
            given,
            collected=drawn["collected"],
            recovered=drawn["recovered"],
            use=math.exp(drawn["log_use"]),
        ),
        spreads,
        seed=seed,
        draws=draws,
    )
