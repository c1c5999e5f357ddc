"""Circularity figures of a product or a month, from masses and counts.

Covers the material circularity indicator, the inflow and outflow indicators, take-back and repair
shares with intervals, recovery yield with its uncertainty, and a seeded simulation that carries
input spreads to the result. It computes figures; `claims` decides what may be published.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from inventory.wording import gettext_noop
from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence

if TYPE_CHECKING:
    from numpy.random import Generator

# Sums of typed fractions such as 0.7 + 0.2 + 0.1 may miss 1 by a rounding of the last bit.
_FRACTION_SLACK = 1e-9
# Chosen by the method so that a wholly linear product of average use scores 0.1.
_LINEAR_PENALTY = 0.9

IntervalMethod = Literal["wilson", "exact"]
INFLOW_CATEGORIES = ("reused", "recycled", "renewable", "linear")
OUTFLOW_CATEGORIES = ("reused", "recycled", "biological", "linear")


@dataclass(frozen=True, slots=True, kw_only=True)
class Component:
    """One material of a bill of materials with its sources, its fates and its process yields.

    Masses in milligrams; every other field is a fraction 0..1. `feedstock_yield` (E_F) belongs to
    the process that made the recycled feedstock, `recycling_yield` (E_C) to the one after use.
    """

    mass_mg: int
    recycled_in: float = 0.0
    reused_in: float = 0.0
    grown_in: float = 0.0
    recycled_out: float = 0.0
    reused_out: float = 0.0
    composted_out: float = 0.0
    energy_out: float = 0.0
    recycling_yield: float = 1.0
    feedstock_yield: float = 1.0

    def __post_init__(self) -> None:
        if self.mass_mg <= 0:
            raise InputRefused(gettext_noop("A component needs a mass above 0 mg."))
        self._refuse_fractions()
        if self.recycled_in > 0 and self.feedstock_yield == 0:
            raise InputRefused(gettext_noop("Recycled feedstock needs a feedstock yield above 0."))

    def _refuse_fractions(self) -> None:
        sources = (self.recycled_in, self.reused_in, self.grown_in)
        fates = (self.recycled_out, self.reused_out, self.composted_out, self.energy_out)
        for fraction in (*sources, *fates, self.recycling_yield, self.feedstock_yield):
            if not 0 <= fraction <= 1:
                raise InputRefused(
                    gettext_noop("A fraction must lie between 0 and 1, not %(fraction)s."),
                    fraction=fraction,
                )
        if sum(sources) > 1 + _FRACTION_SLACK:
            raise InputRefused(
                gettext_noop("Recycled, reused and grown sources together exceed the whole.")
            )
        if sum(fates) > 1 + _FRACTION_SLACK:
            raise InputRefused(
                gettext_noop("Recycling, reuse, compost and energy together exceed the whole.")
            )

    @property
    def virgin_mg(self) -> float:
        """Virgin feedstock V."""
        return self.mass_mg * (1 - self.recycled_in - self.reused_in - self.grown_in)

    @property
    def discarded_mg(self) -> float:
        """W_0, straight to landfill or to energy recovery that does not qualify."""
        kept = self.recycled_out + self.reused_out + self.composted_out + self.energy_out
        return self.mass_mg * (1 - kept)

    @property
    def recycling_loss_mg(self) -> float:
        """W_C, lost when the product is recycled."""
        return self.mass_mg * (1 - self.recycling_yield) * self.recycled_out

    @property
    def feedstock_loss_mg(self) -> float:
        """W_F, lost when the recycled feedstock was made."""
        if self.recycled_in == 0:
            return 0.0
        return self.mass_mg * (1 - self.feedstock_yield) * self.recycled_in / self.feedstock_yield


@dataclass(frozen=True, slots=True, kw_only=True)
class MaterialCircularity:
    """The indicator with the flows behind it. Flows in milligrams, the rest dimensionless."""

    mass_mg: int
    virgin_mg: float
    discarded_mg: float
    recycling_loss_mg: float
    feedstock_loss_mg: float
    waste_mg: float
    linear_flow_index: float
    indicator: float


def material_circularity(
    components: Sequence[Component], *, utility_ratio: float = 1.0
) -> MaterialCircularity:
    """Return the material circularity indicator of a bill of materials.

    Flows are summed over components first and one linear flow index is formed:
    LFI = (V + W) / (2M + (W_F - W_C) / 2), W = W_0 + (W_F + W_C) / 2, MCI = 1 - 0.9 LFI / X, cut
    at 0.
    Source: Ellen MacArthur Foundation and Granta Design, Circularity Indicators: Methodology, 2015,
    and the 2019 edition (formulas read second-hand; product-level X from memory).
    """
    if not components:
        raise InputRefused(gettext_noop("A bill of materials needs at least one component."))
    if not (utility_ratio > 0 and math.isfinite(utility_ratio)):
        raise InputRefused(gettext_noop("The utility ratio must be above 0."))
    mass_mg = sum(part.mass_mg for part in components)
    virgin = math.fsum(part.virgin_mg for part in components)
    discarded = math.fsum(part.discarded_mg for part in components)
    recycling_loss = math.fsum(part.recycling_loss_mg for part in components)
    feedstock_loss = math.fsum(part.feedstock_loss_mg for part in components)
    # Halves: each recycling loss is shared by the product that gives the material and the one that
    # takes it.
    waste = discarded + (feedstock_loss + recycling_loss) / 2
    index = (virgin + waste) / (2 * mass_mg + (feedstock_loss - recycling_loss) / 2)
    return MaterialCircularity(
        mass_mg=mass_mg,
        virgin_mg=virgin,
        discarded_mg=discarded,
        recycling_loss_mg=recycling_loss,
        feedstock_loss_mg=feedstock_loss,
        waste_mg=waste,
        linear_flow_index=index,
        indicator=min(1.0, max(0.0, 1 - index * _LINEAR_PENALTY / utility_ratio)),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowShare:
    """One category's per cent of a flow; `not_applicable` says why it was counted as zero.

    `expanded_mg` (k = 2) is None where some of the mass was not weighed, `low_percent` and
    `high_percent` where the share has no range.
    """

    category: str
    mass_mg: int
    percent: float
    expanded_mg: float | None = None
    not_applicable: str = ""
    low_percent: float | None = None
    high_percent: float | None = None


def inflow_shares(
    masses_mg: Mapping[str, int], *, total_mg: int, not_applicable: Mapping[str, str] | None = None
) -> tuple[FlowShare, ...]:
    """Return reused, recycled, renewable, linear per cent of inflow (ISO 59020:2024 A.2.2-A.2.4).

    `total_mg` is weighed or booked independently of the categories, so overlap and gaps show.
    """
    return _flow_shares(INFLOW_CATEGORIES, masses_mg, total_mg, not_applicable or {})


def outflow_shares(
    masses_mg: Mapping[str, int], *, total_mg: int, not_applicable: Mapping[str, str] | None = None
) -> tuple[FlowShare, ...]:
    """Return reused, recycled, biological, linear per cent of outflow (ISO 59020:2024 A.3.3-A.3.5).

    Count what happened, not what was designed for.
    """
    return _flow_shares(OUTFLOW_CATEGORIES, masses_mg, total_mg, not_applicable or {})


def _flow_shares(
    categories: Sequence[str],
    masses_mg: Mapping[str, int],
    total_mg: int,
    not_applicable: Mapping[str, str],
) -> tuple[FlowShare, ...]:
    _refuse_flow(categories, masses_mg, total_mg, not_applicable)
    return tuple(
        FlowShare(
            category=name,
            mass_mg=masses_mg.get(name, 0),
            percent=100 * masses_mg.get(name, 0) / total_mg,
            not_applicable=not_applicable.get(name, ""),
        )
        for name in categories
    )


def _refuse_flow(
    categories: Sequence[str],
    masses_mg: Mapping[str, int],
    total_mg: int,
    not_applicable: Mapping[str, str],
) -> None:
    unknown = (set(masses_mg) | set(not_applicable)) - set(categories)
    if unknown:
        raise InputRefused(
            gettext_noop("There is no such part of a flow: %(names)s."),
            names=", ".join(sorted(unknown)),
        )
    if total_mg <= 0 or any(mass < 0 for mass in masses_mg.values()):
        raise InputRefused(gettext_noop("A flow needs a total above 0 mg and no negative part."))
    for name in categories:
        if name not in masses_mg and not not_applicable.get(name, "").strip():
            raise InputRefused(
                gettext_noop("Give a mass for %(name)s, or say why it does not apply."), name=name
            )
        if name in not_applicable and masses_mg.get(name, 0) > 0:
            raise InputRefused(
                gettext_noop("%(name)s has mass, so it cannot be marked as not applicable."),
                name=name,
            )
    # To the milligram, with no tolerance: these are whole numbers from one ledger.
    difference_mg = sum(masses_mg.values()) - total_mg
    if difference_mg > 0:
        raise InputRefused(
            gettext_noop("The categories overlap: they exceed the total by %(mass_mg)s mg."),
            mass_mg=difference_mg,
        )
    if difference_mg < 0:
        raise InputRefused(
            gettext_noop("The categories leave %(mass_mg)s mg of the total unexplained."),
            mass_mg=-difference_mg,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ShareInterval:
    """A share 0..1 with its interval and the method that made the interval."""

    share: float
    low: float
    high: float
    coverage: float
    method: str
    evidence: int


def counted_share(
    *, count: int, of: int, method: IntervalMethod = "wilson", coverage: float = 0.95
) -> ShareInterval:
    """Return a proportion of independent units with its two-sided interval.

    "wilson" is the score interval, "exact" is Clopper-Pearson, which never covers less than stated.
    """
    from scipy.stats import binomtest

    if of < 1:
        raise NotEnoughEvidence(of="units", have=max(of, 0), need=1)
    if not 0 <= count <= of:
        raise InputRefused(gettext_noop("The count must lie between 0 and %(most)s."), most=of)
    # Wilson: (p + z2 / 2n ± z sqrt(p q / n + z2 / 4n2)) / (1 + z2 / n). Unlike the normal interval
    # it stays within 0..1 and is fair with few cases.
    interval = binomtest(count, of).proportion_ci(confidence_level=coverage, method=method)
    return ShareInterval(
        share=count / of,
        # At 0 and at all the limit is the share itself, which rounding may leave a last bit
        # outside.
        low=min(float(interval.low), count / of),
        high=max(float(interval.high), count / of),
        coverage=coverage,
        method=method,
        evidence=of,
    )


def take_back_rate(*, returned: int, sold: int, coverage: float = 0.95) -> ShareInterval:
    """Return the share of sold units that came back, Wilson interval; match returns to sales."""
    return counted_share(count=returned, of=sold, coverage=coverage)


def repair_share(*, repaired: int, graded: int, coverage: float = 0.95) -> ShareInterval:
    """Return the share of graded frames that were mended and passed, Wilson interval."""
    return counted_share(count=repaired, of=graded, coverage=coverage)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spread:
    """A triangular spread: lowest, most likely and highest value of an input."""

    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.mode <= self.high:
            raise InputRefused(gettext_noop("A spread needs low <= most likely <= high."))


@dataclass(frozen=True, slots=True, kw_only=True)
class Propagated:
    """Median and interval of a simulated figure, with the seed and draws that reproduce it."""

    median: float
    low: float
    high: float
    coverage: float
    seed: int
    draws: int


def propagate(
    figure: Callable[[Mapping[str, float]], float],
    spreads: Mapping[str, Spread],
    *,
    seed: int,
    draws: int = 2000,
    coverage: float = 0.95,
) -> Propagated:
    """Carry independent input spreads through `figure` by seeded simulation.

    Names are drawn in sorted order, so the same seed, draws and spreads give the same interval.
    """
    import numpy as np

    if draws < 100 or not 0 < coverage < 1:
        raise InputRefused(
            gettext_noop("Simulate at least 100 draws and a coverage between 0 and 1.")
        )
    rng = np.random.default_rng(seed)
    samples = {name: _draw(rng, spreads[name], draws) for name in sorted(spreads)}
    results = [figure({name: row[i] for name, row in samples.items()}) for i in range(draws)]
    tail = (1 - coverage) / 2
    low, median, high = np.quantile(results, (tail, 0.5, 1 - tail))
    return Propagated(
        median=float(median),
        low=float(low),
        high=float(high),
        coverage=coverage,
        seed=seed,
        draws=draws,
    )


def _draw(rng: Generator, spread: Spread, draws: int) -> list[float]:
    # NumPy refuses a triangle without width.
    if spread.low == spread.high:
        return [spread.low] * draws
    return [float(v) for v in rng.triangular(spread.low, spread.mode, spread.high, draws)]
