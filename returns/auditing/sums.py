"""How many pieces of a lot to weigh or grade again, and how well that audit tells good from bad.

Single plans for normal inspection at general level II, with their operating characteristic.
Tables read on public pages (code letters on two pages that print them, plans in the master rows of
MIL-STD-105E, which carry the same numbers as ISO 2859-1); the standard itself was not opened.
"""

from __future__ import annotations

import hashlib
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType

from returns.figures.claims.sums.claims import InputRefused

# General level II: the largest lot of each letter.
_LETTER_LOTS_MAX = (
    (8, "A"),
    (15, "B"),
    (25, "C"),
    (50, "D"),
    (90, "E"),
    (150, "F"),
    (280, "G"),
    (500, "H"),
    (1200, "J"),
    (3200, "K"),
    (10_000, "L"),
    (35_000, "M"),
    (150_000, "N"),
    (500_000, "P"),
)
_LETTER_LARGEST = "Q"
LOT_MIN = 2
# Acceptance quality limits in per cent nonconforming, as printed.
AQLS = ("0.65", "1.0", "1.5", "2.5", "4.0", "6.5")
# Rows hold sample size and acceptance number with the arrows already followed.
_PLANS = MappingProxyType(
    {
        "A": ((20, 0), (13, 0), (8, 0), (5, 0), (3, 0), (2, 0)),
        "B": ((20, 0), (13, 0), (8, 0), (5, 0), (3, 0), (2, 0)),
        "C": ((20, 0), (13, 0), (8, 0), (5, 0), (3, 0), (8, 1)),
        "D": ((20, 0), (13, 0), (8, 0), (5, 0), (13, 1), (8, 1)),
        "E": ((20, 0), (13, 0), (8, 0), (20, 1), (13, 1), (13, 2)),
        "F": ((20, 0), (13, 0), (32, 1), (20, 1), (20, 2), (20, 3)),
        "G": ((20, 0), (50, 1), (32, 1), (32, 2), (32, 3), (32, 5)),
        "H": ((80, 1), (50, 1), (50, 2), (50, 3), (50, 5), (50, 7)),
        "J": ((80, 1), (80, 2), (80, 3), (80, 5), (80, 7), (80, 10)),
        "K": ((125, 2), (125, 3), (125, 5), (125, 7), (125, 10), (125, 14)),
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A single sampling plan: take `sample`, accept the lot up to `accept` bad pieces."""

    sample: int
    accept: int

    def __post_init__(self) -> None:
        if self.sample < 1 or not 0 <= self.accept < self.sample:
            raise InputRefused(
                "A plan needs a sample of 1 or more and fewer accepted than sampled."
            )

    def passes(self, bad: int) -> bool:
        """Return whether a sample with that many bad pieces accepts the lot."""
        if not 0 <= bad <= self.sample:
            raise InputRefused(
                f"The bad pieces must lie between 0 and the sample of {self.sample}."
            )
        return bad <= self.accept


def code_letter(lot: int) -> str:
    """Return the code letter of a lot at general level II."""
    if lot < LOT_MIN:
        raise InputRefused(
            "A lot for sampling has at least 2 pieces: inspect a single piece itself."
        )
    # Left, so that a lot of exactly the largest size still has that letter.
    index = bisect_left([size for size, _ in _LETTER_LOTS_MAX], lot)
    return _LETTER_LOTS_MAX[index][1] if index < len(_LETTER_LOTS_MAX) else _LETTER_LARGEST


def plan(*, lot: int, aql: str) -> Plan:
    """Return the plan for a lot and an acceptance quality limit such as "2.5" (per cent).

    Where an arrow points to another row, that row's sample size is used too. Lots above 3200 are
    refused: their rows are not held here. A sample that reaches the lot is the whole lot, and then
    no bad piece is passed over.
    """
    letter = code_letter(lot)
    if aql not in AQLS:
        raise InputRefused(f"No plan is held for a quality limit of {aql}: use {', '.join(AQLS)}.")
    if letter not in _PLANS:
        raise InputRefused("No plan is held for lots above 3200: split the lot.")
    sample, accept = _PLANS[letter][AQLS.index(aql)]
    if sample >= lot:
        return Plan(sample=lot, accept=0)
    return Plan(sample=sample, accept=accept)


def acceptance_chance_in_lot(audit: Plan, *, lot: int, bad: int) -> float:
    """Return the chance that this lot with `bad` bad pieces is accepted (hypergeometric)."""
    from scipy.stats import hypergeom

    if not (0 <= bad <= lot and audit.sample <= lot):
        raise InputRefused("Bad pieces and sample must not exceed the lot.")
    # Without replacement, hence not binomial. SciPy's order is: found, lot, bad in the lot, sample.
    return float(hypergeom.cdf(audit.accept, lot, bad, audit.sample))


def drawn(tags: Sequence[str], *, sample: int, seed: str) -> tuple[str, ...]:
    """Return the sample: the tags whose SHA-256 of "seed:tag" comes first. Order is no matter.

    Anybody with the lot and the seed can draw it again, with any tool.
    """
    if not 1 <= sample <= len(set(tags)):
        raise InputRefused("The sample must lie between 1 and the number of different pieces.")
    # A hash and not a generator of random numbers: those differ between languages and versions, and
    # an auditor must get the same sample with any tool.
    return tuple(sorted(set(tags), key=lambda tag: _rank(seed, tag))[:sample])


def _rank(seed: str, tag: str) -> str:
    return hashlib.sha256(f"{seed}:{tag}".encode()).hexdigest()
