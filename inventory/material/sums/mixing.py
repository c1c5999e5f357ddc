"""The cheapest mixture under linear limits, and the least easing when there is none.

A small core over the HiGHS solver of scipy; it knows amounts and limits, nothing of material.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from scipy.optimize import OptimizeResult

SOLVED = 0
INFEASIBLE = 2
TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class Row:
    """A limit: low ≤ Σ coefficient · amount ≤ high; None leaves a side open."""

    name: str
    coefficients: tuple[float, ...]
    low: float | None = None
    high: float | None = None


@dataclass(frozen=True, slots=True)
class Problem:
    """Costs and ceilings per ingredient (None: no ceiling), limits, and the sum of the amounts."""

    costs: tuple[float, ...]
    ceilings: tuple[float | None, ...]
    rows: tuple[Row, ...]
    total: float | None = 1.0


@dataclass(frozen=True, slots=True)
class Easing:
    """How far a limit must give way: above its high side if `upward`, else below its low side."""

    name: str
    upward: bool
    by: float


class SolverFailed(RuntimeError):
    """The solver gave up for another reason than that there is no mixture."""


def cheapest(problem: Problem) -> tuple[float, ...] | None:
    """Return the amounts of the cheapest mixture, or None when the limits allow none."""
    upper, bounds = _sides(problem.rows)
    found = _solve(problem.costs, upper, bounds, problem)
    return None if found is None else tuple(float(amount) for amount in found)


def least_easing(problem: Problem, eased: Sequence[str]) -> tuple[Easing, ...] | None:
    """Return the least easing of the named rows that allows a mixture; None if none does.

    Several easings are weighed by the size of their limits, so that none counts more for being
    written in a smaller unit.
    """
    # One more amount for each side that may give way: how far it does.
    slots = [(i, up) for i, row in enumerate(problem.rows) for up in _open_sides(row, eased)]
    sides = [(i, up) for i, row in enumerate(problem.rows) for up in _open_sides(row, None)]
    upper, bounds = _sides(problem.rows)
    widened = [
        [*line, *(-1.0 if slot == side else 0.0 for slot in slots)]
        for line, side in zip(upper, sides, strict=True)
    ]
    # The ingredients cost nothing here; only the easing is to be small.
    costs = [0.0] * len(problem.costs) + [1 / _size(problem.rows[i], up) for i, up in slots]
    found = _solve(costs, widened, bounds, problem)
    if found is None:
        return None
    slack = found[len(problem.costs) :]
    return tuple(
        Easing(problem.rows[i].name, up, float(by))
        for (i, up), by in zip(slots, slack, strict=True)
        # Less than the solver's own tolerance is no easing but noise.
        if by > TOLERANCE
    )


def _open_sides(row: Row, eased: Sequence[str] | None) -> list[bool]:
    if eased is not None and row.name not in eased:
        return []
    return [up for up, side in ((False, row.low), (True, row.high)) if side is not None]


def _sides(rows: Sequence[Row]) -> tuple[list[list[float]], list[float]]:
    """Return every limit as coefficients · amounts ≤ bound."""
    upper: list[list[float]] = []
    bounds: list[float] = []
    for row in rows:
        if row.low is not None:
            upper.append([-coefficient for coefficient in row.coefficients])
            bounds.append(-row.low)
        if row.high is not None:
            upper.append(list(row.coefficients))
            bounds.append(row.high)
    return upper, bounds


def _size(row: Row, upward: bool) -> float:
    side = row.high if upward else row.low
    return max(abs(side or 0.0), max(map(abs, row.coefficients), default=0.0), TOLERANCE)


def _solve(
    costs: Sequence[float], upper: list[list[float]], bounds: list[float], problem: Problem
) -> list[float] | None:
    from scipy.optimize import linprog

    extra = len(costs) - len(problem.costs)
    options: dict[str, Any] = {
        "bounds": [*((0.0, ceiling) for ceiling in problem.ceilings), *[(0.0, None)] * extra],
        "method": "highs",
        # The time limit is for safety: a request waits for the answer.
        "options": {"primal_feasibility_tolerance": TOLERANCE, "time_limit": 10.0},
    }
    if upper:
        options |= {"A_ub": upper, "b_ub": bounds}
    if problem.total is not None:
        options |= {"A_eq": [[1.0] * len(problem.costs) + [0.0] * extra], "b_eq": [problem.total]}
    answer: OptimizeResult = linprog(list(costs), **options)
    if answer.status == INFEASIBLE:
        return None
    if answer.status != SOLVED:
        raise SolverFailed(str(answer.message))
    return [float(amount) for amount in answer.x]
