"""Mean and limits of single values in the order of their making, to tell chance from change.

Individuals chart: limits three estimated standard deviations from the mean, the deviation being
the mean moving range of neighbours over 1.128. Source: NIST/SEMATECH e-Handbook of Statistical
Methods, 6.3.2.2.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from returns.figures.claims.sums.claims import NotEnoughEvidence

# Expected range of two values of a normal process, in standard deviations.
_D2_OF_TWO = 1.128
_SIGMAS = 3.0
# Own choice: fewer values give limits that say nothing.
VALUES_MIN = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class RunChart:
    """Mean and limits, in the unit of the values."""

    mean: float
    low: float
    high: float
    values: int

    def is_outside(self, value: float) -> bool:
        return not self.low <= value <= self.high


def run_chart(
    values: Sequence[float], *, low_min: float = -math.inf, high_max: float = math.inf
) -> RunChart:
    """Return mean and limits, cut to what a value can be. NotEnoughEvidence on fewer than five."""
    if len(values) < VALUES_MIN:
        raise NotEnoughEvidence(of="grind runs", have=len(values), need=VALUES_MIN)
    mean = math.fsum(values) / len(values)
    moving = math.fsum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)
    # 3 / 1.128 = 2.66, the factor that the books on control charts print. Neighbours, not all
    # values: a slow drift must not widen the limits that are to show it.
    reach = _SIGMAS * moving / _D2_OF_TWO
    return RunChart(
        mean=mean,
        low=max(low_min, mean - reach),
        high=min(high_max, mean + reach),
        values=len(values),
    )
