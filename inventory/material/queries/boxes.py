"""What is in a regrind box or a lot: mass, last movement, and heat passes by replay. Reads only."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter
from typing import Any

from django.db.models import Q, QuerySet

from inventory.ledger.queries import balances
from inventory.material.sums import heat
from inventory.material.sums.box_heat import Step, replay
from inventory.material.sums.heat import HeatSpread
from inventory.models import Balance, GrindRun, Origin, Place, PlaceKind, Posting

OPEN_RUN_STATES = (GrindRun.State.PROPOSED, GrindRun.State.CONFIRMED, GrindRun.State.HELD)


@dataclass(frozen=True, slots=True)
class Contents:
    """A box as of its last movement. `heat` is None for an empty box."""

    place: Place
    mass_mg: int
    last_movement: int
    heat: HeatSpread | None

    @property
    def heat_or_least(self) -> HeatSpread:
        """The spread; where that is unknown, the fewest passes that the origin allows."""
        return self.heat or heat.of_passes(0 if self.place.origin == Origin.VIRGIN else 1)


def contents(place: Place, *, up_to: int | None = None) -> Contents:
    """Return what a box holds, or held after movement number `up_to`."""
    rows = Posting.objects.filter(Q(source=place) | Q(target=place))
    if up_to is not None:
        rows = rows.filter(movement__number__lte=up_to)
    # Summed from the postings: the cached balance knows only now, and no proof rests on it.
    mass_mg = balances.net(rows).get(place.pk, 0)
    felt = list(_felt(place, rows, mass_mg))
    return Contents(
        place=place,
        mass_mg=mass_mg,
        last_movement=felt[0][0] if felt else 0,
        heat=replay(step for _number, step in reversed(felt)),
    )


def held_mg(place: Place) -> int:
    """Return the place's cached balance in its own unit; 0 where nothing has moved yet."""
    balance = Balance.objects.filter(pk=place.pk).first()
    return balance.quantity if balance else 0


def boxes() -> list[Contents]:
    """Return every regrind box, the fullest first; empty ones stay listed."""
    rows = Place.objects.filter(kind=PlaceKind.BOX).select_related("polymer", "colour")
    return sorted((contents(box) for box in rows), key=lambda box: (-box.mass_mg, box.place.code))


def open_run(box: Place) -> GrindRun | None:
    """Return the run that the box waits for, if any."""
    return GrindRun.objects.filter(box=box, state__in=OPEN_RUN_STATES).first()


def _felt(place: Place, rows: QuerySet[Posting], mass_mg: int) -> Iterator[tuple[int, Step]]:
    """Yield each movement's number and net change, newest first, back to when it was empty last.

    What was in the box before then has left no trace in it.
    """
    # Read backwards in chunks and left as soon as the box was empty: a box that has been ground a
    # hundred times needs only what was put in since.
    newest_first = rows.order_by("-movement__number", "line").values_list(
        "movement__number", "source", "quantity", "heat", "movement__heat", "movement__reverses"
    )
    for number, group in groupby(newest_first.iterator(chunk_size=500), key=itemgetter(0)):
        step = _step(place, list(group))
        yield number, step
        mass_mg -= step.change_mg
        # `mass_mg` is by now what lay there before this step; with the step added, what lay after
        # it.
        if mass_mg == 0 or mass_mg + step.change_mg == 0:
            return


def _step(place: Place, postings: list[tuple[Any, ...]]) -> Step:
    change_mg = sum(-row[2] if row[1] == place.pk else row[2] for row in postings)
    # A line's own spread goes before that of its whole movement.
    spreads = [(own or whole, quantity) for _n, _s, quantity, own, whole, _reverses in postings]
    is_reversal = postings[0][-1] is not None
    # Only what enters brings a spread of its own. A withdrawal takes the mix, unless it is a
    # reversal, which takes out the very material that it names.
    if not all(data for data, _mg in spreads) or not (change_mg > 0 or is_reversal):
        return Step(change_mg)
    if len(spreads) == 1:
        return Step(change_mg, HeatSpread.from_list(spreads[0][0]))
    return Step(change_mg, heat.blend((HeatSpread.from_list(s), mg) for s, mg in spreads))
