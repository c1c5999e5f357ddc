"""A seeded simulation of the bench: frames come, wait for a hand, and are mended or ground.

What a frame takes and costs is drawn from frames of the past; how long it waits for a hand follows
from how many come and how many hands there are (a discrete-event simulation by simpy). Time is in
bench minutes: a day has as many as one hand works. What a frame waits for besides, such as parts
and answers, is taken as it was.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from random import Random
from statistics import fmean
from typing import TYPE_CHECKING, Any

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence

if TYPE_CHECKING:
    import simpy

# The workshop's own choices.
CASES_MIN = 20
RUNS = 8
RUNS_MIN = 4
JOBS_MAX = 16_000
DAYS = 250
WARM_UP_DAYS = 40


@dataclass(frozen=True, slots=True)
class Job:
    """Work that arrives at a moment and takes a hand for so long; of two that wait the lower rank
    goes first. In minutes."""

    at: float
    minutes: float
    rank: int = 0


def waits(jobs: Sequence[Job], hands: int) -> list[float]:
    """Return how long each job waits for a hand, in the jobs' order; first come, first served.

    Jobs must be in the order of their arrival. Raises InputRefused for no hand at all.
    """
    import simpy

    if hands < 1:
        raise InputRefused("There must be at least one hand.")
    world = simpy.Environment()
    bench = simpy.PriorityResource(world, capacity=hands)
    found = [0.0] * len(jobs)
    world.process(_arrive(world, bench, jobs, found))
    world.run()
    return found


def _arrive(
    world: simpy.Environment, bench: simpy.PriorityResource, jobs: Sequence[Job], found: list[float]
) -> Generator[Any, Any, None]:
    for number, job in enumerate(jobs):
        yield world.timeout(max(0.0, job.at - world.now))
        world.process(_serve(world, bench, (number, job), found))


def _serve(
    world: simpy.Environment,
    bench: simpy.PriorityResource,
    numbered: tuple[int, Job],
    found: list[float],
) -> Generator[Any, Any, None]:
    number, job = numbered
    with bench.request(priority=job.rank) as turn:
        yield turn
        found[number] = world.now - job.at
        yield world.timeout(job.minutes)


@dataclass(frozen=True, slots=True)
class Case:
    """A frame of the past: bench minutes if mended and if taken apart, the days that it waited for
    other things, parts, and the material that would be ground. `must` is a decision that money did
    not make: "repair", "regrind" or ""."""

    mend_minutes: float
    strip_minutes: float
    other_days: float
    parts_minor: float
    mass_mg: int
    must: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Shop:
    """What the owner can turn: promise in working days, returns a working day, hands, bench minutes
    a hand works a day, the pace (1 as now, 0.8 a fifth faster), prices in minor units, and the
    ceiling as a share of what replacing costs. `yield_share` is flake out of material ground."""

    promise_days: float
    returns_a_day: float
    hands: int
    minutes_a_day: float
    pace: float = 1.0
    labour_minor_per_hour: float = 0.0
    postage_minor: float = 0.0
    new_frame_minor: float = 0.0
    ceiling: float = 1.0
    yield_share: float = 0.95
    material_minor_per_kg: float = 0.0

    def __post_init__(self) -> None:
        positive = (self.promise_days, self.returns_a_day, self.minutes_a_day, self.pace)
        if not all(math.isfinite(one) and one > 0 for one in positive) or self.hands < 1:
            raise InputRefused("Promise, returns, hands, minutes and pace must be above zero.")


@dataclass(frozen=True, slots=True)
class Ranged:
    """A figure, the mean of the simulated years, with the range that they lie in."""

    middle: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Outcome:
    """A year of the shop. `load` is the share of its hands' time that is asked for; at 1 or above
    the queue grows without end, and the promise kept is that of a first year only."""

    load: float
    promise_kept: Ranged
    wait_days: Ranged
    repair_share: Ranged
    recovered_mg: Ranged
    cost_minor: Ranged
    cost_a_frame_minor: Ranged
    runs: int


def is_mended(case: Case, shop: Shop) -> bool:
    """Return whether the shop mends the frame: within the ceiling over what replacing costs."""
    if case.must:
        return case.must == "repair"
    return mending_minor(case, shop) <= shop.ceiling * replacing_minor(case, shop)


def mending_minor(case: Case, shop: Shop) -> float:
    """Return labour, parts and postage of mending the frame."""
    labour = case.mend_minutes * shop.pace * shop.labour_minor_per_hour / 60
    return labour + case.parts_minor + shop.postage_minor


def replacing_minor(case: Case, shop: Shop) -> float:
    """Return taking apart, a new frame and its postage, less the flake given back."""
    labour = case.strip_minutes * shop.pace * shop.labour_minor_per_hour / 60
    flake = case.mass_mg * shop.yield_share * shop.material_minor_per_kg / 1_000_000
    return labour + shop.new_frame_minor + shop.postage_minor - flake


def simulate(cases: Sequence[Case], shop: Shop, *, seed: int, runs: int = RUNS) -> Outcome:
    """Return what a year of the shop brings, over `runs` years drawn from the frames of the past.

    The same seed, cases and shop give the same figures. Fewer runs are made where so many frames
    come that more would take too long. Raises NotEnoughEvidence for fewer than CASES_MIN cases.
    """
    if len(cases) < CASES_MIN:
        raise NotEnoughEvidence(of="frames", have=len(cases), need=CASES_MIN)
    a_year = shop.returns_a_day * (DAYS + WARM_UP_DAYS)
    if a_year * RUNS_MIN > JOBS_MAX:
        raise InputRefused("So many frames a day cannot be simulated here.")
    runs = max(RUNS_MIN, min(runs, int(JOBS_MAX / a_year / 2)))
    # A year has its own draw, so that the same year is compared before and after a change.
    years = [_year(cases, shop, Random(f"{seed} {run}")) for run in range(runs)]  # noqa: S311  a draw
    columns = list(zip(*years, strict=True))
    kept, wait, repair, recovered, cost, a_frame = (_ranged(column) for column in columns)
    return Outcome(load(cases, shop), kept, wait, repair, recovered, cost, a_frame, runs)


def load(cases: Sequence[Case], shop: Shop) -> float:
    """Return the share of the hands' time that the frames ask for."""
    minutes = fmean(_minutes(case, shop) for case in cases)
    return shop.returns_a_day * minutes / (shop.hands * shop.minutes_a_day)


def without_queue(cases: Sequence[Case], shop: Shop, *, seed: int) -> list[Case]:
    """Return cases whose other days no longer hold the wait for a hand that the simulation adds.

    What was observed holds both; the mean simulated wait of the shop as it is comes off.
    """
    wait = simulate(cases, shop, seed=seed, runs=RUNS_MIN).wait_days.middle
    return [replace(case, other_days=max(0.0, case.other_days - wait)) for case in cases]


def _minutes(case: Case, shop: Shop) -> float:
    return shop.pace * (case.mend_minutes if is_mended(case, shop) else case.strip_minutes)


def _year(cases: Sequence[Case], shop: Shop, random: Random) -> tuple[float, ...]:
    drawn: list[tuple[Case, Job]] = []
    at, end = 0.0, (WARM_UP_DAYS + DAYS) * shop.minutes_a_day
    gap = shop.minutes_a_day / shop.returns_a_day
    while (at := at + random.expovariate(1 / gap)) < end:
        case = random.choice(cases)
        drawn.append((case, Job(at, _minutes(case, shop))))
    waited = waits([job for _case, job in drawn], shop.hands)
    begun = WARM_UP_DAYS * shop.minutes_a_day
    counted = [
        (case, (wait + job.minutes) / shop.minutes_a_day, wait / shop.minutes_a_day)
        for (case, job), wait in zip(drawn, waited, strict=True)
        if job.at >= begun
    ]
    if not counted:
        return (1.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    mended = [case for case, _taken, _wait in counted if is_mended(case, shop)]
    ground = [case for case, _taken, _wait in counted if not is_mended(case, shop)]
    cost = math.fsum(mending_minor(case, shop) for case in mended)
    cost += math.fsum(replacing_minor(case, shop) for case in ground)
    kept = sum(taken + case.other_days <= shop.promise_days for case, taken, _wait in counted)
    return (
        kept / len(counted),
        fmean(wait for _case, _taken, wait in counted),
        len(mended) / len(counted),
        shop.yield_share * sum(case.mass_mg for case in ground),
        cost,
        cost / len(counted),
    )


def _ranged(values: Sequence[float]) -> Ranged:
    return Ranged(fmean(values), min(values), max(values))
