"""The money of a grading: what a replacement costs, the ceiling, what a plan is expected to cost.

Exact fractions inside; integers in minor units outside. Rounding, stated once: costs up (labour,
expected cost), credits and the ceiling down, so that comparing the printed integers is the same
as comparing the exact sums. A list of lines ties because the cost of failing takes the residue.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Final

from returns.grading.sums.facts import PPM, Prices

MG_PER_KG: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class Costs:
    """Prices put to work for one frame, in minor units.

    `failure_minor` is what a mend that fails its check costs on top of the mending: the
    replacement. It is charged whatever the customer's wish, because a frame handed back broken
    is worth no less to its wearer; otherwise a hopeless mend would look free.
    """

    labour_minor_per_minute: Fraction
    postage_out_minor: int
    material_credit_minor: int
    replacement_minor: int
    failure_minor: int
    ceiling_minor: int

    def labour_minor(self, minutes: Fraction) -> Fraction:
        """Return the exact cost of bench time."""
        return minutes * self.labour_minor_per_minute

    def expected_minor(self, mend_minor: Fraction, odds: Fraction) -> Fraction:
        """Return mending, then postage if it works or a replacement if it does not; exact."""
        return mend_minor + odds * self.postage_out_minor + (1 - odds) * self.failure_minor

    def break_even_odds_ppm(self, mend_minor: Fraction) -> int | None:
        """Return the least odds at which mending stays within the ceiling, None if none do."""
        at_stake = self.failure_minor - self.postage_out_minor
        short = mend_minor + self.failure_minor - self.ceiling_minor
        if short <= 0:
            return 0
        # Not even a mend that always works would stay within the ceiling.
        if at_stake == 0 or short > at_stake:
            return None
        return ceil(short / at_stake * PPM)

    def minutes_max(self, parts_minor: int, odds: Fraction) -> int | None:
        """Return the most whole minutes within the ceiling; None if there is no such tipping."""
        # Everything but labour is taken off the ceiling; what is left is bench time at the wage.
        left = self.ceiling_minor - self.expected_minor(Fraction(parts_minor), odds)
        if self.labour_minor_per_minute == 0 or left < 0:
            return None
        return floor(left / self.labour_minor_per_minute)


def stripping_minor(labour_minor_per_hour: int, minutes: int) -> int:
    """Return what it costs to take a frame apart for the granulator, rounded up."""
    return ceil(Fraction(labour_minor_per_hour * minutes, 60))


def costs_for(prices: Prices, mass_mg: int) -> Costs:
    """Work out the costs that hold for a frame of `mass_mg` milligrams.

    Replacement = grinding + a new frame + posting it - the flake recovered from the old one.
    """
    credit_minor = floor(
        Fraction(mass_mg * prices.recovery_share_ppm * prices.material_minor_per_kg)
        / (PPM * MG_PER_KG)
    )
    replacement_minor = (
        prices.regrind_cost_minor
        + prices.new_frame_cost_minor
        + prices.postage_out_minor
        - credit_minor
    )
    return Costs(
        labour_minor_per_minute=Fraction(prices.labour_minor_per_hour, 60),
        postage_out_minor=prices.postage_out_minor,
        material_credit_minor=credit_minor,
        replacement_minor=replacement_minor,
        # Were flake ever dearer than a frame, failing would still not beat success.
        failure_minor=max(replacement_minor, prices.postage_out_minor),
        ceiling_minor=_ceiling_minor(prices, replacement_minor),
    )


def _ceiling_minor(prices: Prices, replacement_minor: int) -> int:
    if prices.ceiling_minor is not None:
        return prices.ceiling_minor
    # Flake worth more than a new frame makes a replacement cost less than nothing; a ceiling below
    # zero says no more than zero does.
    return max(0, replacement_minor * prices.repair_ceiling_share_ppm // PPM)
