"""Figures of several repeats as least, middle and most, and the table that they are printed in."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from statistics import median


@dataclass(frozen=True, slots=True)
class Figure:
    """One measured thing. `unit` is printed behind each number."""

    name: str
    values: tuple[float, ...]
    unit: str
    digits: int = 1

    @property
    def middle(self) -> float:
        return median(self.values)

    def row(self) -> str:
        """A line of the table: name, least, middle, most, repeats."""
        shown = [f"{v:,.{self.digits}f}" for v in (min(self.values), self.middle, max(self.values))]
        unit = f" {self.unit}" if self.unit else ""
        return f"| {self.name} | {' | '.join(s + unit for s in shown)} | {len(self.values)} |"


def timed_ms(work: Callable[[], object], repeats: int) -> tuple[float, ...]:
    """Milliseconds of each repeat, after one that does not count."""
    work()
    return tuple(once_ms(work) for _ in range(repeats))


def once_ms(work: Callable[[], object]) -> float:
    begun = time.perf_counter()
    work()
    return (time.perf_counter() - begun) * 1000


def ratio(name: str, over: Figure, under: Figure) -> Figure:
    """Repeat by repeat, so that what slows the machine for a while slows both."""
    pairs = zip(over.values, under.values, strict=True)
    return Figure(name, tuple(a / b for a, b in pairs), "times", 2)


def table(figures: Sequence[Figure]) -> str:
    """Markdown, as it stands in the README beside it."""
    head = ["| what | least | middle | most | repeats |", "|---|---|---|---|---|"]
    return "\n".join([*head, *(figure.row() for figure in figures)])
