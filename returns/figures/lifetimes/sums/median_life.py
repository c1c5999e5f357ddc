"""The span by which half of the units have failed, with the limits that the survival curve gives.

The limits are the spans at which 0.5 lies within the curve's own limits (test inversion).
Source: Brookmeyer and Crowley, A confidence interval for the median survival time, Biometrics 38,
1982; from memory.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from returns.figures.claims.sums.claims import NotEnoughEvidence
from returns.figures.lifetimes.sums.lifetimes import SurvivalPoint

# The product of the steps may sit a last bit above one half.
_HALF = 0.5 + 1e-12


def median_span(curve: Sequence[SurvivalPoint]) -> float:
    """Return the first span at which survival is 0.5 or less; raise NotEnoughEvidence if none."""
    if not curve:
        raise NotEnoughEvidence(of="failures", have=0, need=1)
    for point in curve:
        if point.survival <= _HALF:
            return point.span
    # The median needs at least half of those who are left to fail: the number to wait for.
    left = curve[-1].at_risk - curve[-1].failed
    raise NotEnoughEvidence(of="failures among the units left", have=0, need=math.ceil(left / 2))


def median_limits(curve: Sequence[SurvivalPoint]) -> tuple[float | None, float | None]:
    """Return the first spans at which the lower and the upper log-log limit are 0.5 or less.

    None where a limit is not reached by the oldest span seen, or is no number there.
    """
    # A comparison with NaN is false, so a limit that is no number is passed over without a test.
    low = (point.span for point in curve if point.loglog_limits[0] <= _HALF)
    high = (point.span for point in curve if point.loglog_limits[1] <= _HALF)
    return next(low, None), next(high, None)
