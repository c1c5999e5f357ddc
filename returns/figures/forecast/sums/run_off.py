"""Run-off of cohorts from their cumulative returns: the chain ladder with Mack's standard errors.

A second view beside the hazard forecast: it needs no count of units sold, only that every cohort
develops alike. Source: Mack, ASTIN Bulletin 23 (1993).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence

# The variance of the last age is extrapolated from the two before it.
COHORTS_MIN = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class RunOff:
    """Development of cohorts in the unit of the triangle, oldest cohort first.

    `factors` go from each age to the next.
    """

    factors: tuple[float, ...]
    latest: tuple[float, ...]
    ultimates: tuple[float, ...]
    standard_errors: tuple[float, ...]
    total_standard_error: float

    @property
    def outstanding(self) -> tuple[float, ...]:
        """What each cohort is still expected to bring, ultimate less latest."""
        return tuple(u - c for u, c in zip(self.ultimates, self.latest, strict=True))


def run_off(triangle: Sequence[Sequence[float]]) -> RunOff:
    """Return the chain ladder of a cumulative triangle, oldest cohort first, one age less each row.

    Raise NotEnoughEvidence on fewer than four cohorts, InputRefused on a shape that is no triangle,
    on values that fall with age, and on a first value that is not above 0.
    """
    rows = [tuple(float(value) for value in row) for row in triangle]
    _refuse_shape(rows)
    factors = _factors(rows)
    spreads = _spreads(rows, factors)
    full = [_completed(row, factors) for row in rows]
    errors = _squared_errors(rows, full, factors, spreads)
    return RunOff(
        factors=factors,
        latest=tuple(row[-1] for row in rows),
        ultimates=tuple(row[-1] for row in full),
        standard_errors=tuple(math.sqrt(error) for error in errors),
        total_standard_error=_total_error(rows, full, errors, (factors, spreads)),
    )


def _refuse_shape(rows: Sequence[tuple[float, ...]]) -> None:
    if len(rows) < COHORTS_MIN:
        raise NotEnoughEvidence(of="cohorts", have=len(rows), need=COHORTS_MIN)
    for index, row in enumerate(rows):
        if len(row) != len(rows) - index:
            raise InputRefused(f"Cohort {index + 1} needs {len(rows) - index} ages.")
        if not row[0] > 0 or any(b < a for a, b in pairwise(row)):
            raise InputRefused("Cumulative values must start above 0 and must not fall with age.")


def _factors(rows: Sequence[tuple[float, ...]]) -> tuple[float, ...]:
    last = len(rows) - 1
    return tuple(
        # f_k = sum of C(i, k + 1) / sum of C(i, k), over the cohorts that have reached age k + 1.
        math.fsum(row[age + 1] for row in rows[: last - age]) / _base(rows, age)
        for age in range(last)
    )


def _base(rows: Sequence[tuple[float, ...]], age: int) -> float:
    """Return the sum at `age` over the cohorts that have also reached the next age."""
    return math.fsum(row[age] for row in rows[: len(rows) - 1 - age])


def _spreads(rows: Sequence[tuple[float, ...]], factors: Sequence[float]) -> tuple[float, ...]:
    """Return Mack's sigma squared by age, the last one extrapolated."""
    last = len(rows) - 1
    spreads = [
        math.fsum(
            row[age] * (row[age + 1] / row[age] - factors[age]) ** 2 for row in rows[: last - age]
        )
        / (last - age - 1)
        for age in range(last - 1)
    ]
    # One cohort alone has reached the last age, so nothing can be seen to spread there. Mack takes
    # min(s4 / s2, s2 before, s2 latest), and so does this.
    before, latest = spreads[-2], spreads[-1]
    ratio = latest**2 / before if before > 0 else 0.0
    return (*spreads, min(ratio, before, latest))


def _completed(row: tuple[float, ...], factors: Sequence[float]) -> tuple[float, ...]:
    full = list(row)
    # A row of n ages has used its first n - 1 factors.
    for factor in factors[len(row) - 1 :]:
        full.append(full[-1] * factor)
    return tuple(full)


def _squared_errors(
    rows: Sequence[tuple[float, ...]],
    full: Sequence[tuple[float, ...]],
    factors: Sequence[float],
    spreads: Sequence[float],
) -> list[float]:
    return [
        # mse = C ** 2 * sum of s2 / f ** 2 * (1 / C(i, k) + 1 / sum of C(j, k)): the first part is
        # the process, the second the error of the factor. C(i, k) is the completed row's.
        cohort[-1] ** 2
        * math.fsum(
            spreads[age] / factors[age] ** 2 * (1 / cohort[age] + 1 / _base(rows, age))
            for age in range(len(row) - 1, len(factors))
        )
        for row, cohort in zip(rows, full, strict=True)
    ]


def _total_error(
    rows: Sequence[tuple[float, ...]],
    full: Sequence[tuple[float, ...]],
    errors: Sequence[float],
    development: tuple[Sequence[float], Sequence[float]],
) -> float:
    """Return the standard error of the total: cohorts share their factors, so they covary."""
    factors, spreads = development
    total = math.fsum(errors)
    for index, row in enumerate(rows):
        # Each pair once: a cohort covaries with all younger ones through the factors both still
        # have ahead.
        younger = math.fsum(cohort[-1] for cohort in full[index + 1 :])
        shared = math.fsum(
            2 * spreads[age] / factors[age] ** 2 / _base(rows, age)
            for age in range(len(row) - 1, len(factors))
        )
        total += full[index][-1] * younger * shared
    return math.sqrt(total)
