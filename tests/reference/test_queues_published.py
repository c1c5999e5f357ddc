"""The simulated bench held against queues whose answer is known; each check names its source.

Tags: second-hand = seen on a page that quotes the source; from memory = recalled; derived = worked
out from a formula. Waits are means over ten seeded runs, held within four standard errors of them
and six parts in a hundred at least.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from random import Random
from statistics import fmean, stdev

import pytest

from returns.figures.whatif.sums import Job, waits

RUNS = 10
JOBS = 1_500
WARM_UP = 200

Service = Callable[[Random], float]


def drawn(seed: str) -> Random:
    return Random(seed)  # noqa: S311  a draw for a measurement


def constant(minutes: float) -> Service:
    return lambda _random: minutes


def exponential(minutes: float) -> Service:
    return lambda random: random.expovariate(1 / minutes)


def gamma(mean: float, sd: float) -> Service:
    shape = (mean / sd) ** 2
    return lambda random: random.gammavariate(shape, mean / shape)


def jobs(random: Random, gap: float, service: Service, high: float = 0.0) -> Iterator[Job]:
    """Random arrivals; a share `high` of them goes before the others."""
    at = 0.0
    for _job in range(JOBS):
        at += random.expovariate(1 / gap)
        yield Job(at, service(random), 0 if random.random() < high else 1)


def mean_waits(gap: float, service: Service, hands: int = 1, seed: int = 1) -> list[float]:
    found = []
    for run in range(RUNS):
        listed = list(jobs(drawn(f"{seed} {run}"), gap, service))
        found.append(fmean(waits(listed, hands)[WARM_UP:]))
    return found


def assert_near(found: list[float], published: float) -> None:
    reach = max(0.06 * published, 4 * stdev(found) / math.sqrt(len(found)))
    assert abs(fmean(found) - published) <= reach


def test_one_hand_thirty_an_hour() -> None:
    """Second-hand: Bronson, Operations Research (Schaum), problem 23.14: 30 an hour, 1.5 minutes
    each at random: a wait of 4.5 minutes."""
    assert_near(mean_waits(2.0, exponential(1.5)), 4.5)


def test_one_hand_six_an_hour_of_ten() -> None:
    """Second-hand: exercise 826124 (wizedu): 6 an hour, 10 served: 0.15 h of wait."""
    assert_near(mean_waits(10.0, exponential(6.0)), 9.0)


def test_one_hand_and_then_two() -> None:
    """Second-hand: Heizer & Render, Operations Management, module D: 2 an hour, 3 served: 2/3 h; a
    second hand (from memory): 0.083 wait in the queue, so 0.0417 h."""
    assert_near(mean_waits(30.0, exponential(20.0)), 40.0)
    assert_near(mean_waits(30.0, exponential(20.0), hands=2), 2.5)


def test_work_that_always_takes_as_long() -> None:
    """Inputs second-hand, answer from memory: Heizer & Render, recycling trucks: 8 an hour, 5
    minutes each: 5 minutes of wait, half that of random work."""
    assert_near(mean_waits(7.5, constant(5.0)), 5.0)


def test_work_of_a_known_spread() -> None:
    """From memory: Anderson, Sweeney & Williams, An Introduction to Management Science, M/G/1: 21
    an hour, 2 minutes with a standard deviation of 1.2: a wait of 0.0529 h."""
    assert_near(mean_waits(60 / 21, gamma(2.0, 1.2)), 0.052889 * 60)


def test_some_go_before_the_others() -> None:
    """Second-hand: a text on lot cycle times after Prabhu 1981: 1 and 9 an hour, 5 minutes each:
    9.545 and 32.273 minutes in the system, of which 5 are the work."""
    high, low = [], []
    for run in range(RUNS):
        listed = list(jobs(drawn(f"9 {run}"), 6.0, exponential(5.0), high=0.1))
        waited = waits(listed, 1)
        pairs = list(zip(listed, waited, strict=True))[WARM_UP:]
        high.append(fmean(wait for job, wait in pairs if job.rank == 0))
        low.append(fmean(wait for job, wait in pairs if job.rank == 1))
    assert_near(high, 4.545)
    assert_near(low, 27.273)


@pytest.mark.parametrize(("hands", "share"), [(2, 1 / 3), (3, 1 / 11)])
def test_share_that_waits_is_that_of_erlang(hands: int, share: float) -> None:
    """Derived from Erlang's formula C(c, a): with a = 1, two hands 1/3 and three hands 1/11."""
    found = []
    for run in range(RUNS):
        listed = list(jobs(drawn(f"4 {run}"), 10.0, exponential(10.0)))
        waited = waits(listed, hands)[WARM_UP:]
        found.append(sum(wait > 1e-9 for wait in waited) / len(waited))
    assert_near(found, share)
