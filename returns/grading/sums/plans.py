"""Full plans for mending a frame: one remedy per finding, what each plan costs and needs.

The odds of a plan multiply, so the cheapest plan is not the sum of the cheapest remedies: a dear
and sure one may pay only beside other sure ones. Findings are therefore added one at a time and
every partial plan kept, until there are too many; then those that another beats on cost, odds and
scarce parts at once are dropped, which loses no best plan.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, floor
from typing import Final

from returns.grading.sums.allowed import Choice
from returns.grading.sums.costs import Costs
from returns.grading.sums.facts import PPM, Finding, Prices, Remedy, Stock

PARTIAL_PLANS_MAX: Final = 200


@dataclass(frozen=True, slots=True)
class PlanSums:
    """The sums of one plan in minor units; the four lines before the last add up to it."""

    minutes: Fraction
    odds_ppm: int
    labour_minor: int
    parts_minor: int
    success_postage_minor: int
    failure_minor: int
    expected_minor: int

    @property
    def mend_minor(self) -> int:
        """Labour and parts: spent whether the mend passes its check or not."""
        return self.labour_minor + self.parts_minor


@dataclass(frozen=True, slots=True)
class Plan:
    """One remedy for each finding. `missing` counts the parts that stock does not cover."""

    steps: tuple[tuple[Finding, Remedy], ...]
    remedies: tuple[Remedy, ...]
    parts: Mapping[str, int]
    missing: Mapping[str, int]
    odds: Fraction
    exact_mend_minor: Fraction
    sums: PlanSums


@dataclass(frozen=True, slots=True)
class Search:
    """The plans kept, cheapest expected cost first.

    `is_whole` when they are all there are; `is_bounded` when even plans that might have been the
    best had to be left out.
    """

    plans: tuple[Plan, ...]
    is_whole: bool
    is_bounded: bool


@dataclass(frozen=True, slots=True)
class _Partial:
    steps: tuple[tuple[Finding, Remedy], ...]
    keys: frozenset[str]
    mend_minor: Fraction
    odds: Fraction
    parts: Counter[str]


def search(choices: Sequence[Choice], prices: Prices, stock: Stock, costs: Costs) -> Search:
    """Return the full plans for `choices`, cheapest expected cost first.

    Every choice must have at least one remedy left. Plans short of parts are kept and marked.
    """
    partials = [_Partial((), frozenset(), Fraction(0), Fraction(1), Counter())]
    is_whole, is_bounded = True, False
    # A plan that uses fewer scarce parts may be the only one that stock covers, so it counts as an
    # advantage of its own. Plentiful parts never decide.
    scarce = _scarce_parts(choices, stock)
    for place, choice in enumerate(choices):
        partials = [
            _extended(partial, choice.finding, remedy, _remedy_minor(remedy, prices, costs))
            for partial in partials
            for remedy in choice.remedies
        ]
        # Pareto first, which loses no best plan; only if too many are left is the list cut, and
        # then the grading says so.
        if len(partials) > PARTIAL_PLANS_MAX:
            is_whole = False
            partials = _undominated(partials, scarce, _keys_of(choices[place + 1 :]))
        if len(partials) > PARTIAL_PLANS_MAX:
            is_bounded = True
            partials = _likeliest(partials, costs)
    plans = [_plan(partial, prices, stock, costs) for partial in partials]
    plans.sort(key=lambda plan: _rank(plan, costs))
    return Search(tuple(_distinct(plans)), is_whole, is_bounded)


def _remedy_minor(remedy: Remedy, prices: Prices, costs: Costs) -> Fraction:
    return costs.labour_minor(remedy.minutes) + spares_minor(remedy.parts, prices)


def spares_minor(parts: Mapping[str, int], prices: Prices) -> int:
    """Return what these spare parts cost, in minor units."""
    return sum(prices.part_minor[key] * count for key, count in parts.items())


def _extended(
    partial: _Partial, finding: Finding, remedy: Remedy, remedy_minor: Fraction
) -> _Partial:
    steps = (*partial.steps, (finding, remedy))
    if remedy.key in partial.keys:  # already done for another finding on the same component
        return _Partial(steps, partial.keys, partial.mend_minor, partial.odds, partial.parts)
    return _Partial(
        steps,
        partial.keys | {remedy.key},
        partial.mend_minor + remedy_minor,
        partial.odds * remedy.odds,
        partial.parts + Counter(remedy.parts),
    )


def _scarce_parts(choices: Iterable[Choice], stock: Stock) -> tuple[str, ...]:
    """Return the parts of which the greediest plan would want more than there are."""
    demand: Counter[str] = Counter()
    for choice in choices:
        wanted: Counter[str] = Counter()
        for remedy in choice.remedies:
            # The union of counters takes the larger of two counts: one remedy is chosen for a
            # finding, the sum over findings is the worst case.
            wanted |= Counter(remedy.parts)
        demand += wanted
    return tuple(key for key, count in demand.items() if count > stock.of(key))


def _keys_of(choices: Iterable[Choice]) -> frozenset[str]:
    return frozenset(remedy.key for choice in choices for remedy in choice.remedies)


def _undominated(
    partials: list[_Partial], scarce: Sequence[str], open_keys: frozenset[str]
) -> list[_Partial]:
    # Sorted by cost, each plan need only be compared with cheaper ones, which `_beats` relies on.
    ordered = sorted(partials, key=lambda partial: (partial.mend_minor, -partial.odds))
    kept: list[_Partial] = []
    for partial in ordered:
        if not any(_beats(other, partial, scarce, open_keys) for other in kept):
            kept.append(partial)
    return kept


def _beats(
    one: _Partial, other: _Partial, scarce: Sequence[str], open_keys: frozenset[str]
) -> bool:
    """Tell whether `one`, no dearer, is as good as `other` however the plan goes on.

    Remedies already chosen that will answer later findings for nothing count as an advantage.
    """
    return (
        one.odds >= other.odds
        and all(one.parts[key] <= other.parts[key] for key in scarce)
        and (other.keys & open_keys) <= one.keys
    )


def _likeliest(partials: list[_Partial], costs: Costs) -> list[_Partial]:
    ordered = sorted(
        partials, key=lambda partial: costs.expected_minor(partial.mend_minor, partial.odds)
    )
    return ordered[:PARTIAL_PLANS_MAX]


def _plan(partial: _Partial, prices: Prices, stock: Stock, costs: Costs) -> Plan:
    remedies = tuple({remedy.key: remedy for _, remedy in partial.steps}.values())
    missing = {
        key: count - stock.of(key)
        for key, count in sorted(partial.parts.items())
        if count > stock.of(key)
    }
    return Plan(
        steps=partial.steps,
        remedies=remedies,
        parts=dict(sorted(partial.parts.items())),
        missing=missing,
        odds=partial.odds,
        exact_mend_minor=partial.mend_minor,
        sums=_sums(partial, remedies, prices, costs),
    )


def _sums(partial: _Partial, remedies: Iterable[Remedy], prices: Prices, costs: Costs) -> PlanSums:
    minutes = sum((remedy.minutes for remedy in remedies), Fraction(0))
    labour_minor = ceil(costs.labour_minor(minutes))
    parts_minor = spares_minor(partial.parts, prices)
    expected_minor = ceil(costs.expected_minor(partial.mend_minor, partial.odds))
    # The printed lines have to tie with their total. Labour is rounded up as every cost is, postage
    # down, and the line for failing takes the residue.
    postage_minor = floor(partial.odds * costs.postage_out_minor)
    return PlanSums(
        minutes=minutes,
        odds_ppm=floor(partial.odds * PPM),
        labour_minor=labour_minor,
        parts_minor=parts_minor,
        success_postage_minor=postage_minor,
        failure_minor=expected_minor - labour_minor - parts_minor - postage_minor,
        expected_minor=expected_minor,
    )


def _rank(plan: Plan, costs: Costs) -> tuple[Fraction, Fraction, Fraction, tuple[str, ...]]:
    # Exact sums and then the keys: equal plans come in the same order on every run, so a grading
    # repeats itself.
    expected = costs.expected_minor(plan.exact_mend_minor, plan.odds)
    keys = tuple(remedy.key for _, remedy in plan.steps)
    return expected, -plan.odds, plan.sums.minutes, keys


def _distinct(plans: Iterable[Plan]) -> list[Plan]:
    """Drop plans that do the same remedies and differ only in which finding names which."""
    seen: dict[frozenset[str], Plan] = {}
    for plan in plans:
        seen.setdefault(frozenset(remedy.key for remedy in plan.remedies), plan)
    return list(seen.values())
