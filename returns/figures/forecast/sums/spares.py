"""How many spare screws and parts to hold, and what to order today.

Base stock for one-for-one replenishment under Poisson demand, or negative binomial where the months
vary more than Poisson allows; a newsvendor for parts bought once. Counts are pieces, demand is for
the lead time unless named otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum
from statistics import fmean, variance

from inventory.wording import gettext_noop
from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence

# The workshop's own choice: fewer months than this say little about how demand varies.
MONTHS_MIN = 6
_PIECES_MAX = 100_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """Demand over one span of time: mean in pieces and variance over mean.

    A dispersion of 1 is Poisson; above 1 is negative binomial with that ratio.
    """

    mean: float
    dispersion: float = 1.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mean) and self.mean >= 0):
            raise InputRefused("Mean demand must not be below 0.")
        if not (math.isfinite(self.dispersion) and self.dispersion >= 1):
            raise InputRefused("Dispersion must be 1 (Poisson) or more.")

    def at_most(self, pieces: int) -> float:
        """Return P(demand <= pieces)."""
        return self.cumulative(pieces, pieces + 1)[0]

    def cumulative(self, start: int, stop: int) -> list[float]:
        """Return P(demand <= k) for each k from `start` to `stop` - 1."""
        import numpy as np
        from scipy.stats import nbinom, poisson

        pieces = np.arange(start, stop)
        if self.mean == 0:
            return [float(k >= 0) for k in pieces]
        if self.dispersion == 1:
            return [float(share) for share in poisson.cdf(pieces, self.mean)]
        size = self.mean / (self.dispersion - 1)
        return [float(share) for share in nbinom.cdf(pieces, size, 1 / self.dispersion)]

    def over(self, periods: float) -> Demand:
        """Return the demand of that many independent periods like this one."""
        if periods <= 0:
            raise InputRefused("Give a number of periods above 0.")
        return Demand(mean=self.mean * periods, dispersion=self.dispersion)


def monthly_demand(counts: Sequence[int], *, months_min: int = MONTHS_MIN) -> Demand:
    """Return demand per month from monthly counts; overdispersed only where the data say so.

    Dispersion above 1 is used when the index of dispersion test rejects Poisson at 5 %.
    """
    from scipy.stats import chi2

    if len(counts) < max(months_min, 2):
        raise NotEnoughEvidence(of="months", have=len(counts), need=max(months_min, 2))
    if any(count < 0 for count in counts):
        raise InputRefused("A month's demand must not be below 0.")
    mean = fmean(counts)
    if mean == 0:
        return Demand(mean=0.0)
    ratio = variance(counts, mean) / mean
    is_overdispersed = chi2.sf(ratio * (len(counts) - 1), len(counts) - 1) < 0.05
    return Demand(mean=mean, dispersion=max(1.0, ratio) if is_overdispersed else 1.0)


class Measure(StrEnum):
    """What the wanted service level is a level of."""

    READY_RATE = "ready_rate"
    IN_STOCK = "in_stock"
    FILL_RATE = "fill_rate"


@dataclass(frozen=True, slots=True, kw_only=True)
class Service:
    """What a base stock gives: rates 0..1, backorders and stock on hand in expected pieces."""

    base_stock: int
    ready_rate: float
    in_stock: float
    backorders: float
    on_hand: float
    fill_rate: float


def expected_backorders(demand: Demand, stock: int) -> float:
    """Return E[(D - stock)+] = mean - sum over i < stock of (1 - F(i))."""
    if stock < 0:
        raise InputRefused("A base stock must not be below 0.")
    short = demand.mean - math.fsum(1 - share for share in demand.cumulative(0, stock))
    return max(0.0, short)


def service(demand: Demand, stock: int, *, period_mean: float | None = None) -> Service:
    """Return what `stock` gives over the lead time's demand.

    Ready rate is P(D <= S - 1): an arriving demand is met from the shelf. The periodic fill rate is
    1 - backorders / `period_mean`, the mean of one review period (the lead-time mean if not given).
    """
    backorders = expected_backorders(demand, stock)
    mean = demand.mean if period_mean is None else period_mean
    return Service(
        base_stock=stock,
        ready_rate=demand.at_most(stock - 1),
        in_stock=demand.at_most(stock),
        backorders=backorders,
        on_hand=stock - demand.mean + backorders,
        fill_rate=max(0.0, 1 - backorders / mean) if mean > 0 else 1.0,
    )


def base_stock(
    demand: Demand, *, level: float, measure: Measure, period_mean: float | None = None
) -> Service:
    """Return the smallest base stock whose measure reaches `level` (0 < level < 1)."""
    if not 0 < level < 1:
        raise InputRefused("The wanted service level must lie between 0 and 1.")

    def reached(stock: int) -> float:
        if measure is Measure.FILL_RATE:
            return service(demand, stock, period_mean=period_mean).fill_rate
        return demand.at_most(stock if measure is Measure.IN_STOCK else stock - 1)

    stock = _smallest(lambda pieces: reached(pieces) >= level - 1e-12)
    return service(demand, stock, period_mean=period_mean)


def critical_ratio(*, short_cost_minor: int, excess_cost_minor: int) -> float:
    """Return C_u / (C_u + C_o) from the cost of one short and one left over, in minor units."""
    if short_cost_minor <= 0 or excess_cost_minor <= 0:
        raise InputRefused("Both the cost of one short and of one left over must be above 0.")
    return short_cost_minor / (short_cost_minor + excess_cost_minor)


def newsvendor(demand: Demand, *, short_cost_minor: int, excess_cost_minor: int) -> int:
    """Return the smallest quantity with F(quantity) at or above the critical ratio."""
    ratio = critical_ratio(short_cost_minor=short_cost_minor, excess_cost_minor=excess_cost_minor)
    return _smallest(lambda pieces: demand.at_most(pieces) >= ratio - 1e-12)


def newsvendor_of(
    chances: Sequence[float], *, short_cost_minor: int, excess_cost_minor: int
) -> tuple[int, tuple[float, ...]]:
    """Return the best quantity and the expected cost of 0, 1, 2 ... for a listed demand.

    `chances[d]` is P(demand = d); they sum to 1. Costs are in minor units.
    """
    if any(chance < 0 for chance in chances) or not math.isclose(math.fsum(chances), 1):
        raise InputRefused("The chances must not be negative and must sum to 1.")
    ratio = critical_ratio(short_cost_minor=short_cost_minor, excess_cost_minor=excess_cost_minor)
    costs = tuple(
        math.fsum(
            chance * (short_cost_minor * max(0, d - q) + excess_cost_minor * max(0, q - d))
            for d, chance in enumerate(chances)
        )
        for q in range(len(chances))
    )
    best = _smallest(lambda pieces: math.fsum(chances[: pieces + 1]) >= ratio - 1e-12)
    return best, costs


def newsvendor_normal(*, mean: float, spread: float, ratio: float) -> float:
    """Return the quantity for normal demand, mean + z spread, not rounded."""
    from scipy.special import ndtri

    if spread <= 0 or not 0 < ratio < 1:
        raise InputRefused("Give a spread above 0 and a ratio between 0 and 1.")
    return mean + float(ndtri(ratio)) * spread


def normal_shortfall(*, mean: float, spread: float, quantity: float) -> float:
    """Return E[(D - quantity)+] for normal demand: spread times the standard loss."""
    from scipy.stats import norm

    if spread <= 0:
        raise InputRefused("Give a spread above 0.")
    z = (quantity - mean) / spread
    return spread * float(norm.pdf(z) - z * norm.sf(z))


@dataclass(frozen=True, slots=True, kw_only=True)
class Holding:
    """Pieces of one part: on the shelf, on order, promised to requests; and its pack size."""

    on_hand: int
    on_order: int
    reserved: int
    pack_size: int = 1

    def __post_init__(self) -> None:
        if min(self.on_hand, self.on_order, self.reserved) < 0:
            raise InputRefused("Pieces on hand, on order and reserved must not be below 0.")
        if self.pack_size < 1:
            raise InputRefused("A pack holds at least one piece.")

    @property
    def position(self) -> int:
        """Inventory position: on hand + on order - reserved; may be negative."""
        return self.on_hand + self.on_order - self.reserved


@dataclass(frozen=True, slots=True, kw_only=True)
class OrderProposal:
    """What to order now, in whole packs, and why."""

    packs: int
    pieces: int
    position: int
    target: int


def propose_order(holding: Holding, *, target: int) -> OrderProposal:
    """Return the whole packs that lift the inventory position to `target` or just above it."""
    if target < 0:
        raise InputRefused("A base stock target must not be below 0.")
    missing = max(0, target - holding.position)
    packs = -(-missing // holding.pack_size)
    return OrderProposal(
        packs=packs,
        pieces=packs * holding.pack_size,
        position=holding.position,
        target=target,
    )


def _smallest(reaches: Callable[[int], bool]) -> int:
    """Return the smallest count that reaches a monotone goal, by doubling and halving."""
    high = 1
    while not reaches(high):
        high *= 2
        if high > _PIECES_MAX:
            raise InputRefused(
                gettext_noop(
                    "More than %(most)s pieces would be needed: check the lead time and the use."
                ),
                most=_PIECES_MAX,
            )
    low = -1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if reaches(middle) else (middle, high)
    return high
