"""The assignment problem against two published examples."""

from __future__ import annotations

from returns.salvage.sums.matching import assign


def total(costs: list[list[int]], columns: tuple[int | None, ...]) -> int:
    return sum(
        row[column] for row, column in zip(costs, columns, strict=True) if column is not None
    )


def test_linear_sum_assignment_guide() -> None:
    """OR-Tools guide, "Linear Sum Assignment Solver": matrix read; optimum 265 and pairs from
    memory."""
    costs = [[90, 76, 75, 70], [35, 85, 55, 65], [125, 95, 90, 105], [45, 110, 95, 115]]
    found = assign(costs)
    assert found == (3, 2, 1, 0)
    assert total(costs, found) == 265


def test_scipy_documentation_example() -> None:
    """SciPy reference, scipy.optimize.linear_sum_assignment, Examples: from memory."""
    costs = [[4, 1, 3], [2, 0, 5], [3, 2, 2]]
    found = assign(costs)
    assert found == (1, 0, 2)
    assert total(costs, found) == 5
