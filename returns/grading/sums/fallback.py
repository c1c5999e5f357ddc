"""After a failed check: go on mending, by which remedy, or give up, by expected cost.

What was spent is spent. Each way on is a row of fixes, each followed by a check that tells whether
all holds now, but not which place does not: a later failure is priced as one that nobody can
place. The likeliest failure is mended first, by the remedy that costs least for each success; then
the next likeliest, until giving up is cheaper. Each first fix is tried in thought with that row
behind it, and the cheapest is advised.

Money is in minor units, chances are floats: nothing here is stored.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

# Chances by the set of places that do not hold, as bits.
Belief = Mapping[int, float]
# Own choice: nobody does one thing to one frame more than twice again.
TRIES_MAX: Final = 2
# So many failures ahead both fixes of the rule are tried in thought, then the first alone.
AHEAD_MAX: Final = 5


@dataclass(frozen=True, slots=True)
class Fix:
    """A remedy that may be done at a place: what it costs, and how often it holds."""

    key: str
    minor: float
    odds: float


@dataclass(frozen=True, slots=True)
class Place:
    """A place on the frame that may not hold; `odds` that what is there now does."""

    key: str
    odds: float
    fixes: tuple[Fix, ...]


@dataclass(frozen=True, slots=True)
class Advice:
    """The cheaper way on, both priced. Without a fix worth doing, place and fix are None."""

    place: Place | None
    fix: Fix | None
    odds: float
    go_on_minor: float
    give_up_minor: float

    @property
    def goes_on(self) -> bool:
        return self.go_on_minor <= self.give_up_minor


@dataclass(frozen=True, slots=True)
class Ends:
    """What it costs when the check is passed, and when the frame is given up."""

    passed_minor: float
    give_up_minor: float


Left = Mapping[tuple[int, int], int]


def advise(places: Sequence[Place], belief: Belief, ends: Ends) -> Advice:
    """Price the best way on from `belief`, against giving up now."""
    left = tries(places)
    best: tuple[float, float, int, int] | None = None
    for place, fix in _open(places, left):
        minor, odds = _tried(places, belief, ends, left, (place, fix), ahead=AHEAD_MAX)
        if best is None or minor < best[0]:
            best = (minor, odds, place, fix)
    if best is None:
        return Advice(None, None, 0.0, float("inf"), ends.give_up_minor)
    minor, odds, place, fix = best
    return Advice(places[place], places[place].fixes[fix], odds, minor, ends.give_up_minor)


def tries(places: Sequence[Place]) -> dict[tuple[int, int], int]:
    """Return how often each fix, as (place, fix), may still be done."""
    return {
        (number, fix): TRIES_MAX
        for number, place in enumerate(places)
        for fix in range(len(place.fixes))
    }


def after(belief: Belief, place: int, odds: float) -> tuple[float, dict[int, float]]:
    """Return the chance that all holds once a place is mended anew, and the belief if not."""
    # What stands there now is taken off, so whether it held no longer matters; the new mend holds
    # by its own odds, whatever else fails.
    bit, found = 1 << place, dict[int, float]()
    for failing, chance in belief.items():
        mended = failing & ~bit
        found[mended] = found.get(mended, 0.0) + chance * odds
        found[mended | bit] = found.get(mended | bit, 0.0) + chance * (1 - odds)
    # The empty set is the frame that holds. What remains is scaled to 1, for the check has then
    # said no (Bayes' rule).
    passed = found.pop(0, 0.0)
    rest = sum(found.values())
    return passed, {one: chance / rest for one, chance in found.items() if rest and chance}


def named(places: Sequence[Place], failed: int) -> dict[int, float]:
    """Return the belief once a place is known not to hold; others hold by their own odds."""
    return _independent(places, {failed: 0.0})


def unnamed(places: Sequence[Place], suspects: Sequence[int]) -> dict[int, float]:
    """Return the belief once one or more of the suspects fail and nobody can tell which."""
    mask = sum(1 << one for one in suspects)
    belief = {one: chance for one, chance in _independent(places, {}).items() if one & mask}
    whole = sum(belief.values())
    if not whole:
        # Odds of exactly 1 leave no chance for what has happened. One of them failed all the same,
        # and nothing says which.
        return {1 << one: 1 / len(suspects) for one in suspects}
    return {one: chance / whole for one, chance in belief.items()}


def _independent(places: Sequence[Place], known: Mapping[int, float]) -> dict[int, float]:
    belief = {0: 1.0}
    for number, place in enumerate(places):
        odds = known.get(number, place.odds)
        belief = {
            failing | bad: chance * share
            for failing, chance in belief.items()
            for bad, share in ((0, odds), (1 << number, 1 - odds))
            if share
        }
    return belief


def _open(places: Sequence[Place], left: Left) -> Iterator[tuple[int, int]]:
    for number, place in enumerate(places):
        for fix in range(len(place.fixes)):
            # A fix that never holds is no way on, and the cost for each success would divide by
            # zero.
            if left[number, fix] and place.fixes[fix].odds:
                yield number, fix


def _tried(
    places: Sequence[Place],
    belief: Belief,
    ends: Ends,
    left: Left,
    first: tuple[int, int],
    *,
    ahead: int,
) -> tuple[float, float]:
    """What it costs to do one fix and go on by the rule, and the chance that it passes at once."""
    place, fix = first
    one = places[place].fixes[fix]
    passed, rest = after(belief, place, one.odds)
    rest_minor = ends.give_up_minor
    if rest:
        fewer = {**left, first: left[first] - 1}
        # Giving up stays open at each check: nobody has to go through with the row.
        rest_minor = min(rest_minor, _by_rule(places, rest, ends, fewer, ahead=ahead - 1))
    return one.minor + passed * ends.passed_minor + (1 - passed) * rest_minor, passed


def _by_rule(places: Sequence[Place], belief: Belief, ends: Ends, left: Left, ahead: int) -> float:
    """What the rule costs from here: the likeliest failure first, until giving up is cheaper."""
    chosen = _likeliest(places, belief, left)
    # Two branches at each failure double the work; far ahead they hardly change the price of the
    # first fix.
    looked_at = chosen if ahead > 0 else chosen[:1]
    costs = [_tried(places, belief, ends, left, one, ahead=ahead)[0] for one in looked_at]
    return min([ends.give_up_minor, *costs])


def _likeliest(places: Sequence[Place], belief: Belief, left: Left) -> list[tuple[int, int]]:
    """What the rule looks at: of the place that most likely fails the fix that is cheapest for
    each success, and the fix that is cheapest for each success of the whole check."""
    open_ = list(_open(places, left))
    if not open_:
        return []

    def fails(place: int) -> float:
        return sum(chance for failing, chance in belief.items() if failing >> place & 1)

    def dear(one: tuple[int, int]) -> float:
        fix = places[one[0]].fixes[one[1]]
        return fix.minor / fix.odds

    def dear_alone(one: tuple[int, int]) -> float:
        fix = places[one[0]].fixes[one[1]]
        alone = belief.get(1 << one[0], 0.0) * fix.odds
        return fix.minor / alone if alone else float("inf")

    likeliest = min(open_, key=lambda one: (-fails(one[0]), dear(one)))
    return list(dict.fromkeys([likeliest, min(open_, key=dear_alone)]))
