"""Past days played again: which frames waiting donors would have saved, served in two orders.

Each day knows only the frames and donors that waited on it, as a bench would. A part once given
is gone, a frame once saved needs nothing more and gives nothing away. On any one day the best
matching saves at least as many as first come, first served; over many days neither order knows
the next day, so that no such promise holds for their sums.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from returns.salvage.sums.matching import (
    DONORS_MAX,
    NEEDS_MAX,
    Donor,
    Matching,
    Need,
    match,
    match_in_order,
)

Serve = Callable[[Sequence[Need], Sequence[Donor]], Matching]


@dataclass(frozen=True, slots=True)
class Stay:
    """From which day to which day something waited, both included; days are running numbers."""

    first: int
    last: int

    def holds(self, day: int) -> bool:
        return self.first <= day <= self.last


@dataclass(frozen=True, slots=True)
class Wanting:
    """A frame that waited, with everything it lacked."""

    frame_key: str
    needs: tuple[Need, ...]
    stay: Stay


@dataclass(frozen=True, slots=True)
class Giving:
    """A sound part on a frame that waited to be stripped."""

    frame_key: str
    donor: Donor
    stay: Stay


@dataclass(frozen=True, slots=True)
class Served:
    """What one order of serving came to: the day each frame was saved on, and the cost.

    `contested` holds the parts that more than one waiting frame could have used, each with the
    first day of that.
    """

    day_of: dict[str, int]
    cost_minor: int
    contested: dict[str, int]

    @property
    def saved(self) -> int:
        return len(self.day_of)


@dataclass(frozen=True, slots=True)
class Replay:
    """Both orders over the same days."""

    best: Served
    in_order: Served


def replay(wanting: Iterable[Wanting], giving: Iterable[Giving]) -> Replay:
    """Play every day on which something new came, once for each order. Raises `SalvageError`.

    What came on the same day is served as it is given.
    """
    frames = sorted(wanting, key=lambda one: one.stay.first)
    parts = sorted(giving, key=lambda one: one.stay.first)
    return Replay(_played(match, frames, parts), _played(match_in_order, frames, parts))


def _played(serve: Serve, frames: Sequence[Wanting], parts: Sequence[Giving]) -> Served:
    day_of: dict[str, int] = {}
    contested: dict[str, int] = {}
    gone: set[str] = set()
    cost_minor = 0
    # Only days on which something new came: on the others nothing more can be matched.
    days = {one.stay.first for one in frames} | {one.stay.first for one in parts}
    for day in sorted(days):
        needs, donors = _waiting(day, frames, parts, (day_of, gone))
        if not needs or not donors:
            continue
        for donor in donors:
            if len({need.frame_key for need in needs if need.is_met_by(donor)}) > 1:
                contested.setdefault(donor.key, day)
        found = serve(needs, donors)
        day_of |= dict.fromkeys(found.saved, day)
        gone |= {row.donor.key for row in found.rows if row.donor is not None}
        cost_minor += found.cost_minor
    return Served(day_of, cost_minor, contested)


def _waiting(
    day: int,
    frames: Sequence[Wanting],
    parts: Sequence[Giving],
    known: tuple[dict[str, int], set[str]],
) -> tuple[list[Need], list[Donor]]:
    """Return what waits on a day and can meet: the earliest frames, as many as can be matched."""
    saved, gone = known
    donors = [
        one.donor
        for one in parts
        if one.stay.holds(day) and one.donor.key not in gone and one.frame_key not in saved
    ][:DONORS_MAX]
    needs: list[Need] = []
    for one in frames:
        is_here = one.stay.holds(day) and one.frame_key not in saved
        # A frame with all of its needs or not at all: half of them would make it look easier to
        # save.
        if is_here and len(needs) + len(one.needs) <= NEEDS_MAX:
            needs += one.needs
    return needs, donors
