"""How often what the books say of a mass holds, on invented scales that err in one way at a time.

    python -m tests.benchmarks.scales

Each scale errs as its name says, and its row in the set-up says what a check of it would have told.
Twenty frames are weighed on it, once or twice, or a box with and without what lies in it; the
sums under test are the shop's own. Beside that, months of sixty frames that are weighed in and out
again, with and without a leak: how often the month's test speaks up. All draws are seeded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from inventory.weighing.sums import weighing
from inventory.weighing.sums.reconciliation import Reconciliation, Stream, Verdict, reconcile
from inventory.weighing.sums.weighing import CertificatePoint, Measured, Scale

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Figures = NDArray[np.float64]

SEED = 20_261
TRIALS = 1_000
MONTHS = 300
FRAMES = 20
FRAMES_A_MONTH = 60
CHECKED = date(2026, 1, 5)
DUE = date(2027, 1, 5)
REPEATS = 10
STEP_MG = 10
LIMIT_MG = 100.0
CAPACITY_MG = 600_000


@dataclass(frozen=True, slots=True)
class Way:
    """How a scale errs, and what its check told.

    `state` draws what stays the same within a trial; `error` gives the error of loads in mg, at a
    share of the time between two checks; `repeatability_mg` is the true standard deviation.
    """

    name: str
    scale: Callable[[np.random.Generator], Scale]
    state: Callable[[np.random.Generator], Figures]
    error: Callable[[Figures, Figures, float, np.random.Generator], Figures]
    repeatability_mg: float = 5.0
    is_limit: bool = False
    """Whether only the class's limits are known: then coverage is at least what is stated."""


def scale(rng: np.random.Generator, repeatability_mg: float = 5.0, **told: object) -> Scale:
    """A bench scale, d = 10 mg, e = 100 mg, class II, whose check repeated one load ten times."""
    seen = rng.normal(0, repeatability_mg, REPEATS)
    facts: dict[str, object] = {
        "certificate": (CertificatePoint(20_000, 0.0, 0.0),),
        "repeatability_mg": float(seen.std(ddof=1)),
        "repeats": REPEATS,
        "eccentricity_mg": 0.0,
        "eccentricity_load_mg": 200_000,
        "drift_ppm": 0.0,
        "checked_on": CHECKED,
    }
    return Scale(
        key="one",
        resolution_d_mg=STEP_MG,
        verification_e_mg=100,
        accuracy_class="II",
        capacity_mg=CAPACITY_MG,
        minimum_mg=500,
        check_due=DUE,
        **(facts | told),  # type: ignore[arg-type]
    )


def _flat(rng: np.random.Generator) -> Scale:
    return scale(rng, certificate=(CertificatePoint(20_000, 0.0, 8.0),))


def _sloped(rng: np.random.Generator) -> Scale:
    points = (CertificatePoint(1_000, 0.0, 0.4), CertificatePoint(400_000, 0.0, 160.0))
    return scale(rng, certificate=points)


def _by_load(rng: np.random.Generator) -> Scale:
    points = (
        CertificatePoint(20_000, 6.0, 5.0),
        CertificatePoint(100_000, -12.0, 5.0),
        CertificatePoint(200_000, 9.0, 5.0),
    )
    return scale(rng, certificate=points)


def _by_load_error(loads: Figures, state: Figures, _t: float, _rng: object) -> Figures:
    import numpy as np

    found: Figures = np.interp(loads, [20_000, 100_000, 200_000], [6.0, -12.0, 9.0]) + state[0]
    return found


def _class_only(rng: np.random.Generator) -> Scale:
    return scale(
        rng,
        certificate=(),
        drift_ppm=None,
    )


def _bands(loads: Figures, state: Figures, _t: float, _rng: object) -> Figures:
    import numpy as np

    found: Figures = state[np.floor(np.log2(loads)).astype(int)]
    return found


def _none(rng: np.random.Generator) -> Figures:
    import numpy as np

    return np.zeros(1)


WAYS: tuple[Way, ...] = (
    Way(
        "one offset, certificate U = 16 mg",
        _flat,
        lambda rng: rng.normal(0, 8.0, 1),
        lambda loads, state, _t, _rng: 0 * loads + state[0],
    ),
    Way(
        "in proportion to the load, certificate",
        _sloped,
        lambda rng: rng.normal(0, 4e-4, 1),
        lambda loads, state, _t, _rng: loads * state[0],
    ),
    Way(
        "by load as certified, uncorrected",
        _by_load,
        lambda rng: rng.normal(0, 5.0, 1),
        _by_load_error,
    ),
    Way(
        "repeatability of one step",
        lambda rng: scale(rng, 10.0),
        _none,
        lambda loads, _s, _t, _rng: 0 * loads,
        10.0,
    ),
    Way(
        "repeatability of three steps",
        lambda rng: scale(rng, 30.0),
        _none,
        lambda loads, _s, _t, _rng: 0 * loads,
        30.0,
    ),
    Way(
        "place on the pan, 200 mg at 200 g",
        lambda rng: scale(rng, eccentricity_mg=200.0),
        _none,
        lambda loads, _s, _t, rng: loads * rng.uniform(-0.5e-3, 0.5e-3, loads.shape),
    ),
    Way(
        "drift of 400 ppm a year, normal",
        lambda rng: scale(rng, drift_ppm=400.0),
        lambda rng: rng.normal(0, 4e-4 / 3**0.5, 1),
        lambda loads, state, t, _rng: loads * state[0] * t,
    ),
    Way(
        "class alone: one offset within the limit",
        _class_only,
        lambda rng: rng.uniform(-LIMIT_MG, LIMIT_MG, 1),
        lambda loads, state, _t, _rng: 0 * loads + state[0],
        is_limit=True,
    ),
    Way(
        "class alone: another error for each octave of loads",
        _class_only,
        lambda rng: rng.uniform(-LIMIT_MG, LIMIT_MG, 24),
        _bands,
        is_limit=True,
    ),
)


def shown(
    way: Way, loads: Figures, state: Figures, share: float, rng: np.random.Generator
) -> list[int]:
    """Return what the scale shows of true loads, in mg, each time zeroed anew."""

    true = loads + way.error(loads, state, share, rng)
    true = true + rng.normal(0, way.repeatability_mg, loads.shape)
    # A zero is rounded too: what is taken for nothing may be half a step off, either way.
    zero = rng.uniform(-STEP_MG / 2, STEP_MG / 2, loads.shape)
    return [STEP_MG * round(one) for one in (true + zero) / STEP_MG]


def weighed(
    way: Way, told: Scale, loads: Figures, state: Figures, share: float, rng: np.random.Generator
) -> list[Measured]:
    """Return the loads as the shop's own sums measure them."""
    on = CHECKED + timedelta(days=round(share * (DUE - CHECKED).days))
    return [weighing.measure(told, mg, on) for mg in shown(way, loads, state, share, rng)]


def _holds(found: Measured, true_mg: float) -> bool:
    return abs(found.mass_mg - true_mg) <= weighing.expanded(found.u_mg)


def covered(way: Way, trials: int, seed: int = SEED) -> tuple[float, float, float]:
    """Return how often k = 2 holds a sum of 20 frames, 20 in less 20 out, and gross less tare."""
    import numpy as np

    rng = np.random.default_rng(seed)
    hits = np.zeros(3)
    for _trial in range(trials):
        told, state = way.scale(rng), way.state(rng)
        frames = rng.uniform(17_000, 31_000, FRAMES)
        came = weighed(way, told, frames, state, 0.25, rng)
        went = weighed(way, told, frames, state, 1.0, rng)
        box = np.array([182_340.0, 121_870.0])
        gross, tare = weighed(way, told, box, state, 1.0, rng)
        hits += [
            _holds(weighing.total(came), float(frames.sum())),
            _holds(_less(came, went), 0.0),
            _holds(_less([gross], [tare]), float(box[0] - box[1])),
        ]
    first, second, third = (hits / trials).tolist()
    return first, second, third


def _less(some: Iterable[Measured], others: Iterable[Measured]) -> Measured:
    return weighing.combine([*((1, one) for one in some), *((-1, one) for one in others)])


def month(way: Way, rng: np.random.Generator, leak_mg: float = 0.0) -> Reconciliation:
    """Test one month of sixty frames, weighed in, and out again in two parts.

    The leak is spread over the frames between the two weighings.
    """
    import numpy as np

    told, state = way.scale(rng), way.state(rng)
    frames = rng.uniform(17_000, 31_000, FRAMES_A_MONTH)
    lost = leak_mg / FRAMES_A_MONTH
    # Mended frames go out whole; of the others, plastic and lenses are weighed apart.
    mended, stripped = frames[:30] - lost, frames[30:] - lost
    came = weighed(way, told, frames, state, 0.5, rng)
    plastic = weighed(way, told, 0.79 * stripped, state, 0.5, rng)
    lenses = weighed(way, told, 0.21 * stripped, state, 0.5, rng)
    out = weighed(way, told, mended, state, 0.5, rng)
    heap = np.array([0.79 * stripped.sum()])
    streams = [
        _stream("in", "", "house", weighing.total(came)),
        _stream("mended", "house", "", weighing.total(out)),
        _stream("plastic", "house", "box", weighing.total(plastic)),
        _stream("lenses", "house", "", weighing.total(lenses)),
        _stream("flake", "box", "", _ground(way, told, heap, state, rng)),
    ]
    return reconcile(streams, ["house", "box"])


def _ground(
    way: Way, told: Scale, loads: Figures, state: Figures, rng: np.random.Generator
) -> Measured:
    # Within the scale's capacity: the box is weighed out in two halves.
    halves = [weighed(way, told, loads / 2, state, 0.5, rng)[0] for _half in range(2)]
    return weighing.total(halves)


def _stream(name: str, source: str, target: str, found: Measured) -> Stream:
    mass_mg, variance = float(found.mass_mg), found.variance_mg2
    return Stream(name, source, target, mass_mg, variance, found.u_shared_mg)


def alarms(way: Way, months: int, seed: int = SEED, leak: bool = False) -> tuple[float, float]:
    """Return how often the month's test speaks up, and the least leak that it says it would see.

    With `leak`, each month leaks just that much.
    """
    import numpy as np

    rng = np.random.default_rng(seed)
    least = month(way, rng).least_leak["house"]
    raised = sum(
        month(way, rng, least if leak else 0.0).verdict is Verdict.DOES_NOT_CLOSE
        for _month in range(months)
    )
    return raised / months, least


def table(ways: Sequence[Way], trials: int, months: int) -> str:
    """Markdown: coverage of k = 2, false alarms, and how often the least leak told is seen."""
    lines = [
        "| the scale errs | sum of 20 | 20 in less 20 out | gross less tare | false alarms | "
        "least leak told | seen |",
        "|---|---|---|---|---|---|---|",
    ]
    for way in ways:
        held = " | ".join(f"{100 * share:.1f} %" for share in covered(way, trials))
        false, least = alarms(way, months)
        seen, _least = alarms(way, months, leak=True)
        lines.append(
            f"| {way.name} | {held} | {100 * false:.1f} % | {least / 1000:.2f} g | "
            f"{100 * seen:.0f} % |"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(WAYS, TRIALS, MONTHS))
