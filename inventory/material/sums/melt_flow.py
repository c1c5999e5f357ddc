"""Estimates how a blend will flow from how its parts flow, and says how far to trust that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import exp, fsum, hypot, isfinite, log

# Beyond this ratio of the highest to the lowest melt flow the log rule is said to fail
# (rotoun.com, melt index of blends; read).
RULE_RATIO_MAX = 3.28
COVERAGE_FACTOR = 2.0


@dataclass(frozen=True, slots=True)
class MeltFlow:
    """A measured melt flow rate and its standard uncertainty, both in g/10 min.

    All rates in a blend are of one temperature and load; for polypropylene 230 °C and 2.16 kg.
    """

    rate: float
    u: float = 0.0

    def __post_init__(self) -> None:
        if not (isfinite(self.rate) and self.rate > 0 and isfinite(self.u) and self.u >= 0):
            raise ValueError("a melt flow rate is above zero and its uncertainty not negative")


@dataclass(frozen=True, slots=True)
class MeltFlowEstimate:
    """An estimated rate in g/10 min with the range that the parts' tolerances leave (k = 2).

    The range does not cover the rule's own error; `beyond_rule` says that the parts differ too
    much for it, so that only a measurement will tell.
    """

    rate: float
    low: float
    high: float
    ratio: float
    beyond_rule: bool


def blend_melt_flow(parts: Sequence[tuple[MeltFlow, int]]) -> MeltFlowEstimate:
    """Return the estimate for (melt flow, mass in mg) by the log rule: ln M = Σ w ln M_i.

    Source of the rule: Nielsen, *Polymer Rheology* (1977), second-hand.

    Raises:
        ValueError: a mass is negative, or there is no mass at all.
    """
    total_mg = sum(mass_mg for _, mass_mg in parts)
    if total_mg <= 0 or any(mass_mg < 0 for _, mass_mg in parts):
        raise ValueError("a blend has masses that are not negative and not all zero")
    used = [(flow, mass_mg / total_mg) for flow, mass_mg in parts if mass_mg]
    mean_log = fsum(share * log(flow.rate) for flow, share in used)
    # The law of propagation (JCGM 100, 5.1.2) for ln M = Σ w ln M_i: each tolerance enters by
    # w/M_i; the masses count as exact.
    u_log = hypot(*(share * flow.u / flow.rate for flow, share in used))
    rates = [flow.rate for flow, _ in used]
    ratio = max(rates) / min(rates)
    return MeltFlowEstimate(
        exp(mean_log),
        # Symmetric in the logarithm and therefore not in the rate: the upper end lies further away.
        exp(mean_log - COVERAGE_FACTOR * u_log),
        exp(mean_log + COVERAGE_FACTOR * u_log),
        ratio,
        ratio > RULE_RATIO_MAX,
    )
