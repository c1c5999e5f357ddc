"""The mean number of lives and its uncertainty, by hand and against simulation: derived vectors."""

from __future__ import annotations

import numpy as np
import pytest

from returns.figures.circularity.sums.mean_lives import (
    Doubt,
    Moulded,
    mean,
    spread_of,
    standard,
    unknown_batches,
)
from returns.figures.claims.sums.claims import InputRefused

LIGHT = Moulded(piece_mg=10_000, spread_mg=500.0, pieces=60, lives=60.0)
HEAVY = Moulded(piece_mg=20_000, spread_mg=1_000.0, pieces=20, lives=60.0)


def test_each_model_weighs_by_the_mass_moulded() -> None:
    """(10 · 60 + 20 · 60) / (10 · 60 + 20 · 20) = 1800 / 1000."""
    assert mean([LIGHT, HEAVY]) == pytest.approx(1.8)


def test_the_masses_move_the_mean_by_hand() -> None:
    """Light: (60 − 1.8 · 60) · 0.5 / 1000 = −0.024; heavy: (60 − 1.8 · 20) · 1 / 1000 = 0.024."""
    assert standard([LIGHT, HEAVY]) == pytest.approx(0.024 * 2**0.5)


def test_one_model_alone_has_no_doubt_by_its_mass() -> None:
    assert standard([HEAVY]) == pytest.approx(0)
    assert standard([HEAVY], [Doubt(0.5, 0.2), Doubt(0.1, 0.5)]) == pytest.approx(
        (0.1**2 + 0.05**2) ** 0.5
    )


def test_the_formula_agrees_with_masses_drawn_anew() -> None:
    rng = np.random.default_rng(11)
    light = rng.normal(LIGHT.piece_mg, LIGHT.spread_mg, 200_000)
    heavy = rng.normal(HEAVY.piece_mg, HEAVY.spread_mg, 200_000)
    lot = rng.normal(0, 0.3, 200_000)
    drawn = (light * 60 + heavy * 60) / (light * 60 + heavy * 20) + 0.1 * lot
    made = standard([LIGHT, HEAVY], [Doubt(0.1, 0.3)])
    assert made == pytest.approx(drawn.std(), rel=0.02)


def test_frames_of_unknown_batch_by_hand() -> None:
    """Two frames of 20 g that may be off by half a pass, in a lot of 100 g: sqrt(2) · 10 / 100."""
    assert unknown_batches([(20_000, 0.5)] * 2, lot_mg=100_000) == pytest.approx(2**0.5 / 10)
    assert unknown_batches([], lot_mg=100_000) == 0


def test_a_pool_spreads_by_the_mass_sold() -> None:
    """Three parts with 1 pass and one with 3: mean 1.5, variance (3 · 0.25 + 2.25) / 4."""
    assert spread_of([(1.0, 30), (3.0, 10)]) == pytest.approx(0.75**0.5)
    assert spread_of([(2.0, 10)]) == spread_of([]) == spread_of([(1.0, 0)]) == 0


def test_nothing_moulded_and_an_empty_lot_are_refused() -> None:
    with pytest.raises(InputRefused):
        mean([])
    with pytest.raises(InputRefused):
        unknown_batches([(1, 1.0)], lot_mg=0)
