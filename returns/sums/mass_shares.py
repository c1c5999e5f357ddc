"""A share of a weighed mass in a larger one, with the uncertainty that its weighings give it.

Recycled content and the closed-loop share are quotients of sums of weighings, some on the same
scale: what two masses share on one scale largely cancels in their quotient, for it moves both.
Source: JCGM 100:2008 (GUM), 5.1.2 and 5.2.2, law of propagation, from memory.
"""

from __future__ import annotations

from math import erf, fsum, hypot, sqrt

from inventory.sums.weighing import COVERAGE_FACTOR, Measured
from returns.sums.circularity import ShareInterval
from returns.sums.claims import InputRefused


def mass_share(
    part: Measured, rest: Measured, *, evidence: int, coverage_factor: float = COVERAGE_FACTOR
) -> ShareInterval:
    """Return part / (part + rest), masses in mg, with its expanded interval cut at 0 and 1.

    With s the share and P the whole, ds = ((1 − s) d part − s d rest) / P. `evidence` counts the
    weighings or movements behind it. Raises InputRefused without mass, or on one below 0.
    """
    whole_mg = part.mass_mg + rest.mass_mg
    if whole_mg <= 0 or min(part.mass_mg, rest.mass_mg) < 0 or coverage_factor <= 0:
        raise InputRefused("A share needs masses that are not below 0 mg and a whole above 0 mg.")
    share = part.mass_mg / whole_mg
    standard = _standard_mg(part, rest, share) / whole_mg
    return ShareInterval(
        share=share,
        low=max(0.0, share - coverage_factor * standard),
        high=min(1.0, share + coverage_factor * standard),
        coverage=erf(coverage_factor / sqrt(2)),
        method="propagation of weighing uncertainty",
        evidence=evidence,
    )


def _standard_mg(part: Measured, rest: Measured, share: float) -> float:
    """Own parts add as squares; what one scale shares adds with its sign before it is squared."""
    own_mg = hypot((1 - share) * part.u_independent_mg, share * rest.u_independent_mg)
    of_part, of_rest = dict(part.u_shared_mg), dict(rest.u_shared_mg)
    shared_mg2 = fsum(
        ((1 - share) * of_part.get(key, 0.0) - share * of_rest.get(key, 0.0)) ** 2
        for key in sorted({*of_part, *of_rest})
    )
    return sqrt(own_mg**2 + shared_mg2)
