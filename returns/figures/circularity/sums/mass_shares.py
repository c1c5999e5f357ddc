"""A share of a weighed mass in another, with the uncertainty that its weighings give it.

Recycled content, closed-loop share and recovery yield are quotients of sums of weighings, some on
the same scale: what two masses share on one scale largely cancels in their quotient, for it moves
both.
Source: JCGM 100:2008 (GUM), 5.1.2 and 5.2.2, law of propagation, from memory.
"""

from __future__ import annotations

from math import erf, sqrt

from inventory.weighing.sums.weighing import COVERAGE_FACTOR, Measured, spread_mg
from inventory.wording import gettext_noop
from returns.figures.circularity.sums.circularity import ShareInterval
from returns.figures.claims.sums.claims import InputRefused


def mass_share(
    part: Measured, rest: Measured, *, evidence: int, coverage_factor: float = COVERAGE_FACTOR
) -> ShareInterval:
    """Return part / (part + rest), masses in mg, with its expanded interval cut at 0 and 1.

    With s the share and P the whole, ds = ((1 − s) d part − s d rest) / P. `evidence` counts the
    weighings or movements behind it. Raises InputRefused without mass, or on one below 0.
    """
    whole_mg = part.mass_mg + rest.mass_mg
    if whole_mg <= 0 or min(part.mass_mg, rest.mass_mg) < 0 or coverage_factor <= 0:
        raise InputRefused(
            gettext_noop("A share needs masses that are not below 0 mg and a whole above 0 mg.")
        )
    share = part.mass_mg / whole_mg
    # The weights go in with their signs: what part and rest share on one scale then cancels as it
    # should.
    standard = spread_mg([(1 - share, part), (-share, rest)]) / whole_mg
    return _interval(share, standard, evidence=evidence, coverage_factor=coverage_factor)


def recovery_yield(
    flake: Measured, ground: Measured, *, evidence: int, coverage_factor: float = COVERAGE_FACTOR
) -> ShareInterval:
    """Return flake / ground, masses in mg, with its expanded interval cut at 0 and 1.

    With y the yield, dy = (d flake − y d ground) / ground. `evidence` counts the runs. Raises
    InputRefused without a mass ground, or when more came out than went in.
    """
    if ground.mass_mg <= 0 or not 0 <= flake.mass_mg <= ground.mass_mg or coverage_factor <= 0:
        raise InputRefused(
            gettext_noop("Flake must lie between 0 mg and the mass ground, which is above 0 mg.")
        )
    share = flake.mass_mg / ground.mass_mg
    standard = spread_mg([(1.0, flake), (-share, ground)]) / ground.mass_mg
    return _interval(share, standard, evidence=evidence, coverage_factor=coverage_factor)


def _interval(
    share: float, standard: float, *, evidence: int, coverage_factor: float
) -> ShareInterval:
    return ShareInterval(
        share=share,
        low=max(0.0, share - coverage_factor * standard),
        high=min(1.0, share + coverage_factor * standard),
        # What a normal error covers: 0.954 at k = 2.
        coverage=erf(coverage_factor / sqrt(2)),
        method="propagation of weighing uncertainty",
        evidence=evidence,
    )
