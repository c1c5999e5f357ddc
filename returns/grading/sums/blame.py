"""Who bears the blame when a check fails and nobody can tell which step did not hold.

A check holds only if every step behind it holds, each by its own odds. Of such a failure it is
known that at least one of the steps failed, not which. The rule is expectation-maximisation: share
each failure by the present odds, take the shares as counts for new odds, and repeat until nothing
changes. The typed odds count as earlier cases throughout, so that the record of a new workshop
cannot run to 0 % or 100 %.

Source: Dempster, Laird and Rubin, "Maximum likelihood from incomplete data via the EM algorithm",
Journal of the Royal Statistical Society B 39 (1977), 1-38; from memory.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import prod
from typing import Final, TypeVar

Key = TypeVar("Key", bound=Hashable)

ROUNDS_MAX: Final = 2_000
NOTHING_CHANGES: Final = 1e-10
# Shares are kept in thousandths of a case, so that they are exact from here on.
PARTS: Final = 1000


@dataclass(frozen=True, slots=True)
class Record:
    """What is known of one remedy: its prior cases, and its own with a verdict of their own."""

    prior_worked: float
    prior_failed: float
    worked: int = 0
    failed: int = 0

    def odds(self, tries: int = 0, failed: float = 0.0) -> float:
        """Return the odds with `tries` shared cases, of which `failed` are blamed on it."""
        worked = self.prior_worked + self.worked + tries - failed
        return worked / (worked + self.prior_failed + self.failed + failed)


def shares(
    records: Mapping[Key, Record], failures: Sequence[Sequence[Key]]
) -> dict[Key, tuple[int, Fraction]]:
    """Share the failures: tries in them by remedy, and how many of these failed, as expected.

    Each failure lists the remedies of the steps that may be to blame, a remedy once for each try;
    `records` has every one of them.
    """
    tries: dict[Key, int] = {}
    for failure in failures:
        for key in failure:
            tries[key] = tries.get(key, 0) + 1
    # The start is what is known without the shared cases. No round fits the record worse than the
    # one before (Dempster, Laird and Rubin 1977, theorem 1; from memory).
    odds = {key: records[key].odds() for key in tries}
    blamed = _expected(odds, failures)
    # Each round is both steps of the method: the expected blame at the present odds, then the odds
    # at that blame.
    for _round in range(ROUNDS_MAX):
        blamed = _expected(odds, failures)
        after = {key: records[key].odds(tries[key], blamed[key]) for key in tries}
        moved = max((abs(after[key] - odds[key]) for key in tries), default=0.0)
        odds = after
        if moved < NOTHING_CHANGES:
            break
    return {key: (tries[key], Fraction(round(blamed[key] * PARTS), PARTS)) for key in tries}


def _expected(odds: Mapping[Key, float], failures: Sequence[Sequence[Key]]) -> dict[Key, float]:
    """Return the expected failed tries of each remedy, given one or more in each failure."""
    blamed = dict.fromkeys(odds, 0.0)
    for failure in failures:
        # Bayes' rule: of a failure at least one step failed, so its own chance is divided by the
        # chance of that.
        some_failed = 1 - prod(odds[key] for key in failure)
        for key in failure:
            blamed[key] += (1 - odds[key]) / some_failed
    return blamed
