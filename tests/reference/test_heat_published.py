"""Passes in a closed loop held against printed figures of other trades.

No moulding handbook's table of pass shares was readable. Tags: read, from memory, derived.
"""

from __future__ import annotations

import pytest

from inventory.material.sums.heat import WHOLE_PPM, HeatSpread, after_melt, blend, of_passes

LOOPS = 60


def settled(fed_back: float) -> HeatSpread:
    """What a loop comes to that feeds back that fraction of its own output, melt after melt."""
    spread, back_mg = of_passes(1), round(fed_back * WHOLE_PPM)
    for _ in range(LOOPS):
        spread = after_melt(blend([(of_passes(0), WHOLE_PPM - back_mg), (spread, back_mg)]))
    return spread


@pytest.mark.parametrize(("recycling_rate", "uses"), [(0.704, 3.4), (0.717, 3.5)])
def test_uses_of_a_paper_fibre(recycling_rate: float, uses: float) -> None:
    """Read: European paper recycling reports for 2011 (70.4 %, fibre used 3.4 times; rebnews.com)
    and 2012 (71.7 %, 3.5 times; myofficemagazine.co.za).

    That the rate is the fraction fed back is our own reading; neither source says so.
    """
    assert settled(recycling_rate).mean_passes == pytest.approx(uses, abs=0.05)


@pytest.mark.parametrize(("decay", "mean"), [(0.2954, 0.4192), (0.4106, 0.6966)])
def test_geometric_lag_of_the_econometricians(decay: float, mean: float) -> None:
    """From memory: Gujarati & Porter, Basic Econometrics, 5th and 4th ed., Koyck lag.

    Only λ = 0.4106 was read (rhayden.us, per capita consumption expenditure); the 4th edition's
    results come within 1.1e-4, hence the tolerance.
    """
    assert settled(decay).mean_passes - 1 == pytest.approx(mean, abs=1.2e-4)


def test_additive_that_comes_back_with_the_regrind() -> None:
    """Read: OPC 40082-4, section 13.2: additive 9 %, regrind 25 % of the same recipe.

    6.75 % is dosed and 2.25 % arrives in the regrind. A blend of a quarter regrind and three
    quarters fresh carries the shares that the dosing sum rests on.
    """
    mixed = blend([(of_passes(0), 75_000), (of_passes(1), 25_000)])
    from_fresh_ppm, from_regrind_ppm = (ppm for _, ppm in mixed.shares)
    assert 9 * from_fresh_ppm == 6.75 * WHOLE_PPM
    assert 9 * from_regrind_ppm == 2.25 * WHOLE_PPM
    assert after_melt(mixed).mean_passes == 1.25
