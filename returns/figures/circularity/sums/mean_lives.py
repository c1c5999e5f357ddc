"""The mass-weighted mean number of lives, and how unsure it is by masses and unknown batches.

The mean is L = sum(m a) / sum(m p) over models, with m the mass of one piece, p the pieces and a
the lives of all pieces together. Its derivative by m is (a - L p) / M, with M the whole mass; a lot
that gave the part c of M moves L by c for each pass that the lot is off.
Source: JCGM 100:2008 (GUM), 5.1.2, law of propagation, from memory; the derivatives are derived.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import fsum, sqrt

from inventory.wording import gettext_noop
from returns.figures.claims.sums.claims import InputRefused


@dataclass(frozen=True, slots=True, kw_only=True)
class Moulded:
    """What was moulded of one model. `lives` are those of all its pieces added up.

    `spread_mg` is one standard deviation of a piece's mass. It is taken to be common to all pieces
    of the model, which is the cautious reading: the drawing's mass may be off for every one.
    """

    piece_mg: int
    spread_mg: float
    pieces: int
    lives: float


@dataclass(frozen=True, slots=True)
class Doubt:
    """A lot that may have had more or fewer passes: its part 0..1 of the whole mass moulded, and
    the standard uncertainty of its mean number of passes."""

    part: float
    standard: float


def mean(models: Iterable[Moulded]) -> float:
    """Return the mass-weighted mean number of lives; InputRefused without mass."""
    listed = list(models)
    whole_mg = _whole_mg(listed)
    return fsum(one.piece_mg * one.lives for one in listed) / whole_mg


def standard(models: Sequence[Moulded], lots: Iterable[Doubt] = ()) -> float:
    """Return the standard uncertainty of `mean`; models and lots are taken as independent."""
    whole_mg = _whole_mg(models)
    middle = mean(models)
    # Derivative by the mass of a piece, times its spread.
    by_mass = ((one.lives - middle * one.pieces) * one.spread_mg / whole_mg for one in models)
    by_lot = (lot.part * lot.standard for lot in lots)
    return sqrt(fsum(part**2 for part in (*by_mass, *by_lot)))


def unknown_batches(masses_mg: Iterable[tuple[int, float]], *, lot_mg: int) -> float:
    """Return the standard uncertainty of a lot's mean passes from frames of unknown batch.

    `masses_mg` pairs the mass of each such frame with the standard deviation of the passes among
    the batches that it may be from. Frames are taken as independent.
    """
    if lot_mg < 1:
        raise InputRefused(gettext_noop("A lot needs a mass above 0 mg."))
    return sqrt(fsum((mass_mg * spread) ** 2 for mass_mg, spread in masses_mg)) / lot_mg


def spread_of(pool: Iterable[tuple[float, int]]) -> float:
    """Return the standard deviation of (mean passes, mass in mg) over the mass of a pool."""
    listed = list(pool)
    whole_mg = sum(mass_mg for _passes, mass_mg in listed)
    if whole_mg < 1:
        return 0.0
    middle = fsum(passes * mass_mg for passes, mass_mg in listed) / whole_mg
    return sqrt(fsum((passes - middle) ** 2 * mass_mg for passes, mass_mg in listed) / whole_mg)


def _whole_mg(models: Iterable[Moulded]) -> int:
    whole_mg = sum(one.piece_mg * one.pieces for one in models)
    if whole_mg < 1:
        raise InputRefused(gettext_noop("Give at least one batch with a mass above 0 mg."))
    return whole_mg
