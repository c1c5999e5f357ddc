"""How unsure the shares of an outflow are: by weighing, by yield and by the count of frames.

A share of an outflow is a quotient with a product in it (box mass times yield) and rests on counts
that may be zero, so no formula serves and it is simulated from a fixed seed.
Sources: JCGM 101:2008, propagation of distributions; Dirichlet distribution with a half added to
each count (Jeffreys); both from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import hypot
from typing import TYPE_CHECKING, Any, Literal

from inventory.weighing.sums.weighing import Measured, expanded, spread_mg, total
from inventory.wording import gettext_noop
from returns.figures.circularity.sums.circularity import Spread
from returns.figures.circularity.sums.indicator_spread import of_interval
from returns.figures.claims.sums.claims import InputRefused

if TYPE_CHECKING:
    from numpy.random import Generator

Stream = Literal["reused", "boxed", "rest"]
STREAMS: tuple[Stream, ...] = ("reused", "boxed", "rest")
_JEFFREYS = 0.5
_NOTHING = Measured(0, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Fate:
    """Frames that went one way, with the masses in mg that came of them.

    `goes` says where a frame of this fate goes in the main: what it is taken to have become where
    no frame had this fate. Different fates may share a scale.
    """

    goes: Stream
    frames: int
    reused: Measured = _NOTHING
    boxed: Measured = _NOTHING
    rest: Measured = _NOTHING

    def mass(self, stream: Stream) -> Measured:
        found: Measured = getattr(self, stream)
        return found

    @property
    def mass_mg(self) -> int:
        return sum(self.mass(stream).mass_mg for stream in STREAMS)


def outflow_limits(
    fates: Sequence[Fate],
    recovered: tuple[float, float, float] | None,
    *,
    seed: int,
    draws: int = 2000,
    coverage: float = 0.95,
) -> dict[str, tuple[float, float]]:
    """Return low and high of "reused", "recycled" and "linear", as shares 0..1 of the outflow.

    Drawn anew each time: how the frames divide among the fates (as if they were a sample of the
    frames to come), each weighing with what its scale shares, and the yield between its limits
    (low, likely, high; None where nothing went into a box). Left out: that frames of one fate
    differ in mass. Raises InputRefused without a frame or a mass.
    """
    import numpy as np

    if draws < 100 or not 0 < coverage < 1:
        raise InputRefused(
            gettext_noop("Simulate at least 100 draws and a coverage between 0 and 1.")
        )
    frames = sum(fate.frames for fate in fates)
    if frames < 1 or sum(fate.mass_mg for fate in fates) < 1:
        raise InputRefused(
            gettext_noop("An outflow needs at least one frame and a mass above 0 mg.")
        )
    rng = np.random.default_rng(seed)
    # Masses before yields: the order of drawing is part of the seed, and another moves every limit.
    masses = _masses(rng, fates, draws, can_recycle=recovered is not None)
    whole = sum(masses.values())
    recycled = masses["boxed"] * (_yields(rng, of_interval(*recovered), draws) if recovered else 0)
    shares = {"reused": masses["reused"] / whole, "recycled": recycled / whole}
    # The rest of each draw, not a draw of its own: the three must fill the whole in every one.
    shares["linear"] = 1 - shares["reused"] - shares["recycled"]
    tail = (1 - coverage) / 2
    return {
        name: (float(np.quantile(drawn, tail)), float(np.quantile(drawn, 1 - tail)))
        for name, drawn in shares.items()
    }


def outflow_expanded_mg(
    fates: Sequence[Fate], recovered: tuple[float, float, float] | None
) -> dict[str, float]:
    """Return the expanded uncertainty (k = 2) in mg of what was reused, recycled and linear.

    Of what happened, so the count of frames has no part in it: only the weighings, with what each
    scale shares, and the yield (low, likely, high; None where nothing went into a box), taken as
    independent of them. Source: JCGM 100:2008 (GUM), 5.1.2, from memory.
    """
    reused, boxed, rest = (total(fate.mass(stream) for fate in fates) for stream in STREAMS)
    low, share, high = recovered or (0.0, 0.0, 0.0)
    # A limit that was cut at 0 or 1 is the nearer one.
    by_yield_mg = boxed.mass_mg * max(share - low, high - share)
    return {
        "reused": expanded(reused.u_mg),
        "recycled": hypot(expanded(share * boxed.u_mg), by_yield_mg),
        "linear": hypot(expanded(spread_mg([(1, rest), (1 - share, boxed)])), by_yield_mg),
    }


def _masses(
    rng: Generator, fates: Sequence[Fate], draws: int, *, can_recycle: bool
) -> Mapping[Stream, Any]:
    """Milligrams by stream, one per draw. What no frame had is taken to weigh what frames weigh."""
    frames = sum(fate.frames for fate in fates)
    mean_mg = sum(fate.mass_mg for fate in fates) / frames
    # Without a yield nothing can be recycled, so no frame is imagined to have gone that way.
    likely = [fate for fate in fates if fate.frames or can_recycle or fate.goes != "boxed"]
    # Jeffreys' half lets a fate that no frame had come up now and then: zero of five is not never.
    drawn = rng.dirichlet([fate.frames + _JEFFREYS for fate in likely], draws) * frames
    # One draw for each scale and period: all that was weighed there is off together. Sorted,
    # because the order of drawing is part of the seed.
    shared = {
        key: rng.standard_normal(draws)
        for key in sorted({key for fate in fates for key in _scales(fate)})
    }
    masses: dict[Stream, Any] = dict.fromkeys(STREAMS, 0.0)
    for number, fate in enumerate(likely):
        if not fate.frames:
            masses[fate.goes] += drawn[:, number] * mean_mg
            continue
        for stream in STREAMS:
            weighed = _weighed(rng, fate.mass(stream), shared, draws)
            # The mass of a frame of this fate, times the frames that this draw gives it.
            masses[stream] += weighed * drawn[:, number] / fate.frames
    return masses


def _scales(fate: Fate) -> set[str]:
    return {key for stream in STREAMS for key, _u_mg in fate.mass(stream).u_shared_mg}


def _weighed(rng: Generator, one: Measured, shared: Mapping[str, Any], draws: int) -> Any:
    error: Any = one.u_independent_mg * rng.standard_normal(draws)
    for key, u_mg in one.u_shared_mg:
        error = error + u_mg * shared[key]
    # An error may exceed a small mass, but no mass is negative.
    return (one.mass_mg + error).clip(min=0)


def _yields(rng: Generator, spread: Spread, draws: int) -> Any:
    if spread.low == spread.high:
        return spread.mode
    return rng.triangular(spread.low, spread.mode, spread.high, draws)
