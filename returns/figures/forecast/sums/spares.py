"""How many spare screws and parts to hold, and what to order today.

Base stock for one-for-one replenishment under Poisson demand, or negative binomial where the
months vary more than Poisson allows. Counts are pieces, demand is for the lead time unless named
otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import fmean, variance

from inventory.wording import gettext_noop
from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence

# The workshop's own choice: fewer months than this say little about how demand varies.
MONTHS_MIN = 6
RATE_CONFIDENCE = 0.9
DISPERSION_CONFIDENCE = 0.8
"""How surely rate and dispersion do not lie above what the base stock is worked out with."""
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
        from scipy.stats import nbinom, poisson

        if self.mean == 0:
            return float(pieces >= 0)
        if self.dispersion == 1:
            return float(poisson.cdf(pieces, self.mean))
        # Negative binomial by its moments: p = 1 / dispersion and r = mean / (dispersion - 1), so
        # that the variance is mean * dispersion.
        size = self.mean / (self.dispersion - 1)
        return float(nbinom.cdf(pieces, size, 1 / self.dispersion))

    def over(self, periods: float) -> Demand:
        """Return the demand of that many independent periods like this one."""
        if periods <= 0:
            raise InputRefused("Give a number of periods above 0.")
        # Sums of independent negative binomials with one p keep that p: the ratio does not change
        # with the span.
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
    # Index of dispersion: (n - 1) * variance / mean is about chi-squared with n - 1 degrees under
    # Poisson.
    is_overdispersed = chi2.sf(ratio * (len(counts) - 1), len(counts) - 1) < 0.05
    return Demand(mean=mean, dispersion=max(1.0, ratio) if is_overdispersed else 1.0)


def cautious_demand(counts: Sequence[int], *, months_min: int = MONTHS_MIN) -> Demand:
    """Return demand per month at the upper confidence limits of its rate and dispersion.

    A stock for the mean would fall short in half of all workshops, for few months only estimate it.
    The rate's limit is the exact one of a Poisson rate, P(count <= seen) = 1 - confidence (Garwood
    1936, from memory), with counts divided by the dispersion; the dispersion's that of a variance,
    from chi-squared. No demand seen at all stays none.
    """
    from scipy.stats import chi2, gamma

    plain = monthly_demand(counts, months_min=months_min)
    if plain.mean == 0:
        return plain
    months, seen = len(counts), sum(counts)
    ratio = variance(counts, plain.mean) / plain.mean
    dispersion = max(1.0, ratio * (months - 1) / chi2.ppf(1 - DISPERSION_CONFIDENCE, months - 1))
    rate = gamma.ppf(RATE_CONFIDENCE, seen / dispersion + 1) * dispersion / months
    return Demand(mean=float(rate), dispersion=float(dispersion))


def ready_rate(demand: Demand, stock: int) -> float:
    """Return P(D <= S - 1), the share of the lead time's demand that is met from the shelf."""
    # S - 1, not S: a request is met at once only where fewer than S pieces are on their way in.
    return demand.at_most(stock - 1)


def base_stock(demand: Demand, *, level: float) -> int:
    """Return the smallest base stock whose ready rate reaches `level` (0 < level < 1)."""
    if not 0 < level < 1:
        raise InputRefused("The wanted service level must lie between 0 and 1.")
    # The tolerance lets a level that is met exactly be met, whatever the last bit of the sum.
    return _smallest(lambda pieces: ready_rate(demand, pieces) >= level - 1e-12)


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
    # Division rounded up in whole numbers: a float would fail on a large count.
    packs = -(-missing // holding.pack_size)
    return OrderProposal(
        packs=packs,
        pieces=packs * holding.pack_size,
        position=holding.position,
        target=target,
    )


def _smallest(reaches: Callable[[int], bool]) -> int:
    """Return the smallest count that reaches a monotone goal, by doubling and then halving."""
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
