"""Which salvaged part goes to which frame: most frames saved first, then least cost.

A frame is saved only if every component it lacks is found; parts given to a frame that still
lacks another are wasted. With one need per frame this is the classical assignment problem;
with several it is a small integer programme, solved in two steps so that no weight blurs the
order of the two aims.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from inventory.wording import gettext_noop
from returns.refusals import Refused

if TYPE_CHECKING:
    from numpy import float64
    from numpy.typing import NDArray

NEEDS_MAX: Final = 200
DONORS_MAX: Final = 500
SOLVE_SECONDS_MAX: Final = 10.0


class SalvageError(Refused):
    """Needs and donors that cannot be matched."""


@dataclass(frozen=True, slots=True)
class Need:
    """A component that a frame on the bench lacks.

    `colourway_key` None takes any colour; `batch_keys` None takes any batch (mouldings of some
    batches do not fit each other).
    """

    frame_key: str
    component_key: str
    model_key: str
    colourway_key: str | None = None
    batch_keys: frozenset[str] | None = None

    def is_met_by(self, donor: Donor) -> bool:
        """Tell whether the donor's part fits: model, component, colour and batch."""
        return (
            (self.model_key, self.component_key) == (donor.model_key, donor.component_key)
            and self.colourway_key in {None, donor.colourway_key}
            and (self.batch_keys is None or donor.batch_key in self.batch_keys)
        )


@dataclass(frozen=True, slots=True)
class Donor:
    """A good part to be had, with what it costs to take it off and fit it, in minor units."""

    key: str
    component_key: str
    model_key: str
    colourway_key: str
    batch_key: str
    cost_minor: int


@dataclass(frozen=True, slots=True)
class Row:
    """One need explained. `reason` is matched, no-fitting-part or parts-better-used."""

    need: Need
    donor: Donor | None
    reason: str

    @property
    def text(self) -> str:
        """The row as one plain English sentence."""
        name = f"{self.need.component_key} for {self.need.frame_key}"
        if self.donor is not None:
            return f"{name}: take {self.donor.key}."
        if self.reason == "no-fitting-part":
            return f"{name}: no salvaged part fits."
        return f"{name}: the fitting parts save more frames elsewhere, or more cheaply."


@dataclass(frozen=True, slots=True)
class Matching:
    """Who gets what: the frames saved, the cost in minor units, one row per need in order."""

    saved: frozenset[str]
    cost_minor: int
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The best matching beside what serving frames in order of arrival would have given."""

    best: Matching
    in_order: Matching


def compare(needs: Sequence[Need], donors: Sequence[Donor]) -> Comparison:
    """Match both ways. Needs are in order of arrival of their frames. Raises `SalvageError`."""
    return Comparison(match(needs, donors), match_in_order(needs, donors))


def match(needs: Sequence[Need], donors: Sequence[Donor]) -> Matching:
    """Return the matching that saves the most frames, and among those costs the least."""
    _require_bounds(needs, donors)
    if not needs or not donors:
        return _matching(needs, donors, {})
    # One need a frame is the assignment problem, which is solved exactly and at once.
    if len({need.frame_key for need in needs}) == len(needs):
        matrix = [
            [donor.cost_minor if need.is_met_by(donor) else None for donor in donors]
            for need in needs
        ]
        found = assign(matrix)
        return _matching(needs, donors, {n: d for n, d in enumerate(found) if d is not None})
    return _matching(needs, donors, _by_integer_programme(needs, donors))


def match_in_order(needs: Sequence[Need], donors: Sequence[Donor]) -> Matching:
    """Serve frames first come, first served: each takes its cheapest parts if all are there."""
    _require_bounds(needs, donors)
    taken: dict[int, int] = {}
    for places in _needs_by_frame(needs).values():
        # On a copy: a frame that does not get all of its parts gives back what it took.
        chosen = dict(taken)
        for place in places:
            fitting = [
                index
                for index, donor in enumerate(donors)
                if index not in chosen.values() and needs[place].is_met_by(donor)
            ]
            if not fitting:
                break
            chosen[place] = min(fitting, key=lambda index: (donors[index].cost_minor, index))
        else:
            taken = chosen
    return _matching(needs, donors, taken)


def assign(costs: Sequence[Sequence[int | None]]) -> tuple[int | None, ...]:
    """Return for each row its column: most rows served first, then the least total cost.

    None in `costs` forbids a pair; None in the answer leaves a row unserved. Costs are integers
    of zero or more. Leaving a row unserved is priced above any full set of pairs, in integers.
    """
    import numpy as np
    from scipy.optimize import linear_sum_assignment

    rows, columns = len(costs), len(costs[0]) if costs else 0
    unserved = 1 + sum(max((cost for cost in row if cost is not None), default=0) for row in costs)
    # The solver reckons in doubles, in which whole numbers are exact up to 2 ** 53 only.
    if unserved * (rows + 1) >= 2**53:
        raise SalvageError("cost-size", "These costs are too large to be compared exactly.")
    # One spare column a row, at the price of leaving it unserved; forbidden pairs cost more.
    matrix = np.full((rows, columns + rows), unserved, dtype=np.int64)
    for row, row_costs in enumerate(costs):
        matrix[row, :columns] = [unserved + 1 if cost is None else cost for cost in row_costs]
    _, chosen = linear_sum_assignment(matrix)
    return tuple(
        column if column < columns and costs[row][column] is not None else None
        for row, column in enumerate(chosen.tolist())
    )


def _require_bounds(needs: Sequence[Need], donors: Sequence[Donor]) -> None:
    if len(needs) > NEEDS_MAX or len(donors) > DONORS_MAX:
        raise SalvageError(
            "too-many",
            gettext_noop("Match at most %(needs)s lacking pieces and %(parts)s parts at a time."),
            needs=NEEDS_MAX,
            parts=DONORS_MAX,
        )
    if len({donor.key for donor in donors}) != len(donors):
        raise SalvageError("donor-twice", "Offer each salvaged part once.")
    if any(donor.cost_minor < 0 for donor in donors):
        raise SalvageError("cost", "A cost cannot be below zero.")


def _needs_by_frame(needs: Sequence[Need]) -> dict[str, list[int]]:
    by_frame: dict[str, list[int]] = {}
    for place, need in enumerate(needs):
        by_frame.setdefault(need.frame_key, []).append(place)
    return by_frame


def _by_integer_programme(needs: Sequence[Need], donors: Sequence[Donor]) -> dict[int, int]:
    """Solve for frames saved (y) and pairs used (x): first max sum y, then min cost at that."""
    import numpy as np

    pairs = [
        (n, d)
        for n, need in enumerate(needs)
        for d, donor in enumerate(donors)
        if need.is_met_by(donor)
    ]
    if not pairs:
        return {}
    by_frame = list(_needs_by_frame(needs).values())
    frames, size = len(by_frame), len(by_frame) + len(pairs)
    saving = np.zeros(size)
    saving[:frames] = 1
    cost = np.zeros(size)
    cost[frames:] = [donors[d].cost_minor for _, d in pairs]
    # Two solutions and not one with weights: a weight large enough to put frames before any cost
    # would eat up the digits that the costs differ in.
    first = _solved(-saving, by_frame, pairs, saved=(0, frames))
    most = round(float(saving @ first))
    second = _solved(cost, by_frame, pairs, saved=(most, most))
    # The solver returns 0 and 1 as floats that may be a little off.
    return {n: d for (n, d), used in zip(pairs, second[frames:], strict=True) if used > 0.5}


def _solved(
    objective: NDArray[float64],
    by_frame: Sequence[Sequence[int]],
    pairs: Sequence[tuple[int, int]],
    *,
    saved: tuple[int, int],
) -> NDArray[float64]:
    """Minimise the objective over binary y and x. Rows: needs, donors, frames saved."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    entries, lower, upper = _constraint_rows(by_frame, pairs, saved)
    row, column, coefficient = zip(*entries, strict=True)
    shape = (len(lower), len(objective))
    found = milp(
        objective,
        integrality=np.ones(len(objective), dtype=np.int64),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(csr_array((coefficient, (row, column)), shape), lower, upper),
        # No gap: an answer that is nearly the best would not be the same on every machine.
        options={"time_limit": SOLVE_SECONDS_MAX, "mip_rel_gap": 0},
    )
    if found.status != 0:
        raise SalvageError(
            "no-solution",
            gettext_noop("No proven best matching was found in time. Match fewer frames."),
        )
    return np.asarray(found.x, dtype=np.float64)


def _constraint_rows(
    by_frame: Sequence[Sequence[int]], pairs: Sequence[tuple[int, int]], saved: tuple[int, int]
) -> tuple[list[tuple[int, int, float]], list[float], list[float]]:
    """Return entries and bounds. Need: pairs used - frame saved = 0. Donor: at most once."""
    frames = len(by_frame)
    entries: list[tuple[int, int, float]] = []
    need_rows = {place: n for n, place in enumerate(p for places in by_frame for p in places)}
    donor_rows = {d: len(need_rows) + i for i, d in enumerate(sorted({d for _, d in pairs}))}
    for frame, places in enumerate(by_frame):
        entries += [(need_rows[place], frame, -1.0) for place in places]
    for column, (place, donor) in enumerate(pairs, start=frames):
        entries += [(need_rows[place], column, 1.0), (donor_rows[donor], column, 1.0)]
    last = len(need_rows) + len(donor_rows)
    entries += [(last, frame, 1.0) for frame in range(frames)]
    # Rows in order: sum of x over donors - y = 0 for each need, so that a frame gets all it lacks
    # or none; sum of x over needs <= 1 for each donor; sum of y within the frames saved.
    lower = [0.0] * last + [float(saved[0])]
    upper = [0.0] * len(need_rows) + [1.0] * len(donor_rows) + [float(saved[1])]
    return entries, lower, upper


def _matching(
    needs: Sequence[Need], donors: Sequence[Donor], chosen: Mapping[int, int]
) -> Matching:
    rows = tuple(
        Row(need, donors[chosen[place]], "matched")
        if place in chosen
        else Row(need, None, _why_not(need, donors))
        for place, need in enumerate(needs)
    )
    return Matching(
        saved=frozenset(needs[place].frame_key for place in chosen),
        cost_minor=sum(donors[index].cost_minor for index in chosen.values()),
        rows=rows,
    )


def _why_not(need: Need, donors: Sequence[Donor]) -> str:
    fits = any(need.is_met_by(donor) for donor in donors)
    return "parts-better-used" if fits else "no-fitting-part"
