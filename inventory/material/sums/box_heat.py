"""Which heat passes are in a box or lot, worked out from everything that went in and out.

What lies in a box counts as evenly mixed: what is taken out has the spread of the whole.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from inventory.ledger.sums.shares import apportion
from inventory.material.sums.heat import WHOLE_PPM, HeatSpread


@dataclass(frozen=True, slots=True)
class Step:
    """One movement as the box felt it: `change_mg` in (+) or out (-).

    `heat` is the spread of what was put in; for a withdrawal it is given only when that very
    material was taken out again, as a reversal does.
    """

    change_mg: int
    heat: HeatSpread | None = None


def replay(steps: Iterable[Step]) -> HeatSpread | None:
    """Return the spread after `steps` in their order; None when nothing of known heat is left.

    Mass of unknown heat (a stock count that found more) takes the spread of what is there.
    """
    # Milligrams times parts per million, in whole numbers: mixing then needs no division.
    weights: Counter[int] = Counter()
    mass_mg = 0
    for step in steps:
        before_mg, mass_mg = mass_mg, mass_mg + step.change_mg
        # Empty is empty: what comes next begins a mix of its own. Below zero, entries were dated
        # back.
        if mass_mg <= 0:
            weights.clear()
        elif step.heat is None:
            weights = _scaled(weights, mass_mg)
        else:
            # What lay there unknown is read as the first that is known.
            known_mg = step.change_mg if weights else before_mg + step.change_mg
            weights = _with(weights, step.heat, known_mg)
    return _spread(weights)


def _scaled(weights: Counter[int], mass_mg: int) -> Counter[int]:
    """Keep the shares and make the weights sum to the mass times a million again."""
    falling = sorted(weights, reverse=True)
    if not falling:
        return Counter()
    shares = apportion(mass_mg * WHOLE_PPM, [weights[passes] for passes in falling])
    return Counter({passes: share for passes, share in zip(falling, shares, strict=True) if share})


def _with(weights: Counter[int], heat: HeatSpread, change_mg: int) -> Counter[int]:
    changed = Counter(weights)
    for passes, ppm in heat.shares:
        changed[passes] += ppm * change_mg
    kept = Counter({passes: weight for passes, weight in changed.items() if weight > 0})
    # A reversal of more than is traced would leave nothing; then the mix before is the better
    # guess.
    return kept or Counter(weights)


def _spread(weights: Counter[int]) -> HeatSpread | None:
    if not weights:
        return None
    falling = sorted(weights, reverse=True)
    shares = apportion(WHOLE_PPM, [weights[passes] for passes in falling])
    kept = [(passes, ppm) for passes, ppm in zip(falling, shares, strict=True) if ppm]
    return HeatSpread(tuple(reversed(kept)))
