"""Hazards by age and factors by month of the year, fitted to what came back so far.

The chance of a unit to come back in a month is its age's hazard times that month's factor; both are
found in turn, as in any table with rows and columns that multiply. A factor is drawn towards 1 by
what counting alone explains of its distance, so that a workshop without seasons gets none.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from returns.figures.forecast.sums.cohorts import TAIL_AGES, HazardTable, SoldCohort

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Figures = NDArray[np.float64]

# The workshop's own choices. Two years of sales bring 23 months in which something can come back.
SEASON_MONTHS_MIN = 23
ROUNDS = 3
YEAR = 12


@dataclass(frozen=True, slots=True)
class Fit:
    """What was found: by age failed and at risk (age 1 first), by month of the year the factor.

    Units at risk are counted times the factors of their months. `factor_sd` is how unsure each
    factor still is. The first factor is that of the running months that divide by twelve.
    """

    failed: Figures
    at_risk: Figures
    factors: Figures
    factor_sd: Figures

    @property
    def table(self) -> HazardTable:
        """Return the hazards with a tail pooled over the last six ages."""
        failed, at_risk = self.failed[-TAIL_AGES:].sum(), self.at_risk[-TAIL_AGES:].sum()
        by_age = (self.failed / self.at_risk).clip(0, 1)
        return HazardTable(tuple(by_age.tolist()), float(min(1.0, failed / at_risk)))

    def factor(self, month: int) -> float:
        """Return the factor of a running month."""
        return float(self.factors[month % YEAR])


class Cells:
    """Months of cohorts in the order of time, each with age, units at risk and what came back."""

    def __init__(self, cohorts: Iterable[SoldCohort]) -> None:
        import numpy as np

        rows = []
        for cohort in cohorts:
            out = cohort.sold
            for age, came in enumerate(cohort.returned_by_age, start=1):
                rows.append((cohort.month + age, age, out, came))
                out -= came
        table = np.array(sorted(rows), dtype=np.float64).reshape(-1, 4)
        self.month = table[:, 0].astype(np.int64)
        self.age = table[:, 1].astype(np.int64)
        self.at_risk, self.came = table[:, 2], table[:, 3]

    def fit(self, at: int) -> Fit | None:
        """Fit what was known at the end of a month; None where nothing had been at risk."""
        import numpy as np

        end = int(np.searchsorted(self.month, at, side="right"))
        if not end:
            return None
        month, age = self.month[:end] % YEAR, self.age[:end] - 1
        came, at_risk = self.came[:end], self.at_risk[:end]
        failed = counted(age, came)
        risk = counted(age, at_risk)
        factors, unsure = np.ones(YEAR), np.zeros(YEAR)
        if at - int(self.month[0]) + 1 >= SEASON_MONTHS_MIN:
            for _round in range(ROUNDS):
                hazard = np.divide(failed, risk, out=np.zeros_like(failed), where=risk > 0)
                expected = counted(month, at_risk * hazard[age], YEAR)
                seen = counted(month, came, YEAR)
                factors, unsure = shrunk(seen, expected)
                risk = counted(age, at_risk * factors[month])
        # From the first age that no unit lived to, no hazard is defined.
        last = int(np.argmax(risk <= 0)) if (risk <= 0).any() else len(risk)
        return Fit(failed[:last], risk[:last], factors, unsure) if last else None


def counted(index: NDArray[np.int64], weights: Figures, least: int = 0) -> Figures:
    """Return the sums of weights by whole number, from 0 on."""
    import numpy as np

    found: Figures = np.bincount(index, weights, least).astype(np.float64)
    return found


def shrunk(seen: Figures, expected: Figures) -> tuple[Figures, Figures]:
    """Return factors of mean 1 by month of the year, drawn towards 1, and their standard errors.

    Empirical Bayes by moments: the counts are Poisson of mean factor times expected, and the
    factors vary by tau² around 1, so Σ expected (ratio - 1)² is on average 11 + tau² Σ expected.
    """
    import numpy as np

    weight = np.maximum(expected, 1e-9)
    ratio = seen / weight
    level = float(np.average(ratio, weights=weight)) or 1.0
    off = ratio / level - 1
    tau2 = max(0.0, (float((weight * off**2).sum()) - (YEAR - 1)) / float(weight.sum()))
    kept = tau2 / (tau2 + 1 / weight)
    factors = np.maximum(0.05, 1 + off * kept)
    factors /= float(np.average(factors, weights=weight))
    return factors, np.sqrt(kept / weight)
