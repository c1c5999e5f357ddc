"""How often the forecast's limits hold what came, in invented workshops like the demo's.

    python -m tests.benchmarks.coverage

Each seed is another workshop: the demo's own sales and breaks drawn anew, without a database. The
returns are laid on months of sale as the lifetimes page lays them. The method page quotes what
this prints; the seeds were chosen once, and no setting was chosen by looking at them. The second
table leaves out the demo's weak batch, which begins to break in the fifth month: what is then
still missing in the middle is the method's own.
"""

from __future__ import annotations

import math
import os
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from random import Random

FIRST_SEED = 70_001
SEEDS = 120
MONTHS = 15
EARLY = 8
# The demo begins in a month that does not matter here: running months need one.
FIRST_MONTH = 2025 * 12
DAYS_A_MONTH = 365.25 / 12
BATCH_READ = 0.8
"""As at the demo's bench: of so many frames the batch can be read."""

Came = tuple[int, int, int, str]


@dataclass(frozen=True, slots=True)
class Month:
    """A month forecast against what came; `number` counts from the first month of sales."""

    number: int
    expected: float
    came: int
    is_held: bool


def workshop(seed: int, *, weak: bool) -> tuple[Counter[tuple[int, int, int]], Counter[Came]]:
    """What was sold, by model, batch and month, and what came back, as the books have it.

    Without `weak` the weak batch breaks as any other.
    """
    from deploy.demo import lives

    sold: Counter[tuple[int, int, int]] = Counter()
    came: Counter[Came] = Counter()
    for number, batch in enumerate(lives.batches(MONTHS), start=1):
        model = lives.MODELS.index(batch.model) + 1
        for month, pieces in batch.sold:
            sold[model, number, FIRST_MONTH + month] += pieces
        random = Random(f"{seed} {number}")  # noqa: S311  a draw for a measurement
        for one in lives.breaks(random, batch, is_weak=weak and batch.is_weak):
            month = int(one.filed + one.days / DAYS_A_MONTH)
            if month < MONTHS and one.fate not in {"withdrawn", "empty", "stranger"}:
                read = number if random.random() < BATCH_READ else 0
                came[FIRST_MONTH + month, model, read, ""] += 2 if one.fate == "two frames" else 1
    return sold, came


def measured(lead: int, coverage: float, seeds: Iterable[int], *, weak: bool) -> Iterator[Month]:
    """Every month of every workshop that could be forecast `lead` months before."""
    from returns.figures.forecast.sums.forecasts import back_test
    from returns.figures.lifetimes.queries import lifetimes
    from returns.figures.span.queries import by_index

    last = FIRST_MONTH + MONTHS - 1
    as_of = by_index(last)
    for seed in seeds:
        found = lifetimes.laid(*workshop(seed, weak=weak), as_of).cohorts
        test = back_test(found, as_of=last, lead=lead, months=MONTHS, seed=seed, coverage=coverage)
        for row in test.rows:
            number = row.forecast.month - FIRST_MONTH + 1
            yield Month(number, row.forecast.expected, row.actual, row.is_covered)


def table(seeds: Sequence[int], *, weak: bool) -> str:
    """Markdown: shares of months held, and how far the middle lay off, in all and early on."""
    lines = [
        "| months ahead | months | held by 90 % | held by 50 % | middle off | in the first 8 |",
        "|---|---|---|---|---|---|",
    ]
    for lead in (3, 2, 1):
        outer = list(measured(lead, 0.9, seeds, weak=weak))
        inner = list(measured(lead, 0.5, seeds, weak=weak))
        early = [month for month in outer if month.number <= EARLY]
        figures = (lead, len(outer), held(outer), held(inner), off(outer), off(early))
        lines.append(f"| {' | '.join(map(str, figures))} |")
    return "\n".join(lines)


def held(months: Sequence[Month]) -> str:
    """The share of months within the limits."""
    return f"{100 * sum(month.is_held for month in months) / len(months):.1f} %"


def off(months: Sequence[Month]) -> str:
    """What was expected less what came, as a share of what came."""
    came = sum(month.came for month in months)
    expected = math.fsum(month.expected for month in months)
    return f"{100 * (expected - came) / came:+.1f} %" if came else "–"


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    import django

    django.setup()
    seeds = range(FIRST_SEED, FIRST_SEED + SEEDS)
    print(table(seeds, weak=True), flush=True)
    print(f"\nWithout the weak batch:\n\n{table(seeds, weak=False)}")


if __name__ == "__main__":
    sys.exit(main())
