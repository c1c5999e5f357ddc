"""Divides whole numbers so that the parts always add up to the whole again."""

from __future__ import annotations

from collections.abc import Sequence


def apportion(total: int, weights: Sequence[int]) -> tuple[int, ...]:
    """Return whole parts of `total` in proportion to `weights`, summing to it exactly.

    The largest remainders get the odd units; equal remainders go to the earlier weight. A
    negative total is divided as its opposite. A weight of zero gets nothing.

    Raises:
        ValueError: a weight is negative, or there is something to divide and no weight.
    """
    whole = sum(weights)
    if any(weight < 0 for weight in weights):
        raise ValueError("weights are not negative")
    if whole == 0:
        if total:
            raise ValueError("something to divide needs a weight above zero")
        return (0,) * len(weights)
    # `//` rounds towards minus infinity: divided as it stands, a negative total would put its odd
    # units on other weights than its opposite does, and a reversal would not cancel.
    if total < 0:
        return tuple(-part for part in apportion(-total, weights))
    # Largest remainder, in whole numbers throughout: a float would lose units of a large total. The
    # floors fall short by fewer units than there are weights, so each gets one more at most.
    parts = [total * weight // whole for weight in weights]
    # `sorted` is stable, which is what gives equal remainders to the earlier weight.
    by_remainder = sorted(range(len(weights)), key=lambda i: -(total * weights[i] % whole))
    for index in by_remainder[: total - sum(parts)]:
        parts[index] += 1
    return tuple(parts)
