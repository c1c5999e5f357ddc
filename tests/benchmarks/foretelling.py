"""How often the forecast's limits hold, and how far it is off, in three kinds of invented workshop.

    python -m tests.benchmarks.foretelling

A steady workshop sells as many frames each month; a growing one three in a hundred more; a seasonal
one sells by the month of the year, and frames come back by the month of the year as well. Frames
break by a Weibull law with spread between months of sale. Each workshop is drawn for a history and
a year more; the forecast sees the history alone. Beside it stand three plain methods: the last
month, the mean of three, and exponential smoothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from statistics import fmean
from typing import TYPE_CHECKING

from returns.figures.claims.sums.claims import NotEnoughEvidence
from returns.figures.forecast.sums.cohorts import SoldCohort
from returns.figures.forecast.sums.forecasts import forecast

if TYPE_CHECKING:
    import numpy as np

KINDS = ("steady", "growing", "seasonal")
HISTORIES = (12, 18, 24, 36, 48)
LEADS = (1, 3, 6)
SEED = 81_000
SHOPS = 40
AHEAD = 12
SOLD = 60
SMOOTHING = 0.3
AS_OF = 24_000


def _season(month: int, swing: float) -> float:
    import math

    return 1 + swing * math.sin(2 * math.pi * month / 12)


def workshop(kind: str, months: int, rng: np.random.Generator) -> list[SoldCohort]:
    """Draw a workshop of so many months up to AS_OF, and of a year after it."""
    import numpy as np

    age = np.arange(1, months + AHEAD + 1)
    survival = np.exp(-((np.arange(months + AHEAD + 1) / 40) ** 1.2))
    hazard = 1 - survival[1:] / survival[:-1]
    cohorts = []
    for month in range(AS_OF - months + 1, AS_OF + AHEAD + 1):
        mean = SOLD * (1.03 ** (month - AS_OF + months) if kind == "growing" else 1.0)
        mean *= _season(month + 3, 0.3) if kind == "seasonal" else 1.0
        left, came = max(1, int(rng.poisson(mean))), []
        sold, own = left, rng.gamma(50, 1 / 50)
        for at in age[: AS_OF + AHEAD - month]:
            times = _season(month + int(at), 0.4) if kind == "seasonal" else 1.0
            coming = int(rng.binomial(left, min(1.0, hazard[at - 1] * own * times)))
            came.append(coming)
            left -= coming
        cohorts.append(SoldCohort(month, sold, tuple(came)))
    return cohorts


@dataclass(frozen=True, slots=True)
class Told:
    """What one forecast said of one span of months, what came, and what plain methods said.

    `lead` is months ahead; 0 is the whole year.
    """

    kind: str
    months: int
    lead: int
    expected: float
    held: bool
    came: int
    plain: tuple[float, float, float]


def told(kind: str, months: int, rng: np.random.Generator, draws: int = 400) -> Iterator[Told]:
    """Forecast one workshop from its history and hold it against its year after."""
    cohorts = workshop(kind, months, rng)
    known = [c.as_known(at_month=AS_OF) for c in cohorts if c.month <= AS_OF]
    try:
        made = forecast(known, as_of=AS_OF, months=AHEAD, seed=1, draws=draws)
    except NotEnoughEvidence:
        return
    came = [sum(c.returned_in(m) for c in cohorts) for m in range(AS_OF - months + 2, AS_OF + 13)]
    past, ahead = came[:-AHEAD], came[-AHEAD:]
    smooth = float(past[0])
    for count in past:
        smooth = smooth + SMOOTHING * (count - smooth)
    plain = (float(past[-1]), fmean(past[-3:]), smooth)
    for lead in LEADS:
        month, real = made.months[lead - 1], ahead[lead - 1]
        held = month.low <= real <= month.high
        yield Told(kind, months, lead, month.expected, held, real, plain)
    year = sum(ahead)
    held = made.total.low <= year <= made.total.high
    yearly = (12 * plain[0], 12 * plain[1], 12 * plain[2])
    yield Told(kind, months, 0, made.total.expected, held, year, yearly)


def measured(kind: str, months: int, shops: int, draws: int = 400) -> list[Told]:
    """Forecast many workshops of one kind and length of history; the same seed for each."""
    import numpy as np

    rng = np.random.default_rng(SEED + months)
    return [row for _shop in range(shops) for row in told(kind, months, rng, draws)]


def held(rows: Sequence[Told]) -> float:
    """Return the share of months within their limits."""
    return fmean(row.held for row in rows)


def off(rows: Sequence[Told]) -> float:
    """Return the mean distance of what was expected from what came, in frames."""
    return fmean(abs(row.expected - row.came) for row in rows)


def plainly_off(rows: Sequence[Told]) -> tuple[float, float, float]:
    """Return the same for last month, mean of three and exponential smoothing."""
    last, mean, smooth = (fmean(abs(r.plain[k] - r.came) for r in rows) for k in range(3))
    return last, mean, smooth


def table(shops: int) -> str:
    """Markdown: by kind, history and lead."""
    lines = [
        "| workshop | history | months ahead | held by 90 % | off | last month | mean of 3 | "
        "smoothing | middle off |",
        "|---|---|---|---|---|---|---|---|---|",
    ]
    for kind in KINDS:
        for months in HISTORIES:
            found = measured(kind, months, shops)
            for lead in (*LEADS, 0):
                rows = [row for row in found if row.lead == lead]
                plain = " | ".join(f"{one:.1f}" for one in plainly_off(rows))
                bias = sum(r.expected for r in rows) / sum(r.came for r in rows) - 1
                lines.append(
                    f"| {kind} | {months} | {lead or 'year'} | {100 * held(rows):.0f} % | "
                    f"{off(rows):.1f} | {plain} | {100 * bias:+.1f} % |"
                )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(SHOPS))
