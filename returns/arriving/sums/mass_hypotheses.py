"""What a returned frame may be, and the mass that each of these hypotheses foretells.

Whole; pieces missing or too many; a piece exchanged; something foreign on it. Each comes with its
prior share and with the variance of the pieces that are there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass
from enum import StrEnum
from itertools import combinations_with_replacement, permutations
from math import comb

from returns.refusals import Refused


class MassFitError(Refused):
    """Masses that cannot be weighed up."""


class Explanation(StrEnum):
    """The kinds of hypothesis. Unexplained stands for a broken-off piece, dirt, a wrong model."""

    COMPLETE = "complete"
    MISSING = "missing"
    EXTRA = "extra"
    EXCHANGED = "exchanged"
    FOREIGN = "foreign"
    MISSING_AND_FOREIGN = "missing_and_foreign"
    UNEXPLAINED = "unexplained"


@dataclass(frozen=True, slots=True)
class Component:
    """A line of the bill of materials: `count` pieces, each of a nominal mass and std. spread.

    `of` names the model of a piece that is not of this bill.
    """

    key: str
    nominal_mg: int
    spread_mg: float
    count: int = 1
    of: str = ""

    def __post_init__(self) -> None:
        if self.nominal_mg <= 0 or self.spread_mg < 0 or self.count < 1:
            raise MassFitError(
                "component", f"{self.key} needs a mass above zero, a spread and a count."
            )


@dataclass(frozen=True, slots=True)
class Priors:
    """How likely each kind is before weighing; all add up to 1. Our own starting values.

    The share for so many missing (or too many, or exchanged) is split evenly over the sets of so
    many pieces. One missing together with one too many, or with something foreign, is as likely
    as the product of the two: neither makes the other likelier.
    """

    complete: float = 0.791
    one_missing: float = 0.10
    two_missing: float = 0.03
    three_missing: float = 0.005
    one_extra: float = 0.01
    two_extra: float = 0.005
    one_missing_one_extra: float = 0.001
    one_of_another_model: float = 0.005
    foreign: float = 0.03
    missing_and_foreign: float = 0.003
    unexplained: float = 0.02

    def __post_init__(self) -> None:
        shares = astuple(self)
        if min(shares) < 0 or abs(sum(shares) - 1) > 1e-9:
            raise MassFitError("priors", "The priors must be shares that add up to 1.")

    @property
    def by_pieces(self) -> tuple[tuple[int, int, float], ...]:
        """Sign of the change of mass, how many pieces, and the share for it."""
        return (
            (-1, 1, self.one_missing),
            (-1, 2, self.two_missing),
            (-1, 3, self.three_missing),
            (+1, 1, self.one_extra),
            (+1, 2, self.two_extra),
        )


@dataclass(frozen=True, slots=True)
class Change:
    """The keys of the pieces gone, and of those that came; `of` is the model these belong to."""

    gone: tuple[str, ...] = ()
    come: tuple[str, ...] = ()
    of: str = ""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One thing that the frame may be. Changes that no scale tells apart are joined in one."""

    explanation: Explanation
    changes: tuple[Change, ...]
    mean_mg: int
    variance_mg2: float
    prior: float


@dataclass(frozen=True, slots=True)
class _Whole:
    """The bill as a whole, from which each hypothesis departs by some pieces."""

    parts: tuple[Component, ...]
    total_mg: int
    variance_mg2: float

    @property
    def pieces(self) -> int:
        return sum(part.count for part in self.parts)

    def but(
        self,
        explanation: Explanation,
        prior: float,
        *,
        gone: Sequence[Component] = (),
        come: Sequence[Component] = (),
    ) -> Hypothesis:
        """The whole without the pieces `gone` and with those that came; a spread goes or comes."""
        change = Change(
            tuple(one.key for one in gone),
            tuple(one.key for one in come),
            come[0].of if come else "",
        )
        return Hypothesis(
            explanation,
            (change,) if gone or come else (),
            self.total_mg + _mass_mg(come) - _mass_mg(gone),
            self.variance_mg2 + _variance_mg2(come) - _variance_mg2(gone),
            prior,
        )


def _mass_mg(pieces: Iterable[Component]) -> int:
    return sum(piece.nominal_mg for piece in pieces)


def _variance_mg2(pieces: Iterable[Component]) -> float:
    return sum(piece.spread_mg**2 for piece in pieces)


def hypotheses(
    parts: tuple[Component, ...], others: Sequence[Component], priors: Priors, u_mg: float
) -> Iterator[Hypothesis]:
    """Yield every hypothesis with its prior share; shares of what cannot be are left out.

    `u_mg` is the reading's standard uncertainty. The priors then add up to less than 1, which
    Bayes' rule mends when it divides by their sum.
    """
    # Variances of independent masses add, and the reading's own is one of them (JCGM 100:2008,
    # 5.1.2).
    every = [part for part in parts for _ in range(part.count)]
    whole = _Whole(parts, _mass_mg(every), _variance_mg2(every) + u_mg**2)
    yield whole.but(Explanation.COMPLETE, priors.complete)
    yield whole.but(Explanation.FOREIGN, priors.foreign)
    yield whole.but(Explanation.UNEXPLAINED, priors.unexplained)
    for sign, size, share in priors.by_pieces:
        yield from _piece_sets(whole, (sign, size), share)
    yield from _one_missing_one_extra(whole, priors.one_missing_one_extra)
    yield from _of_another_model(whole, others, priors.one_of_another_model)
    # The only piece cannot be missing: something foreign alone would not be this frame.
    if whole.pieces > 1:
        for part in parts:
            share = priors.missing_and_foreign * part.count / whole.pieces
            yield whole.but(Explanation.MISSING_AND_FOREIGN, share, gone=(part,))


def _piece_sets(whole: _Whole, change: tuple[int, int], share: float) -> Iterator[Hypothesis]:
    """Every set of so many pieces gone (-1) or there once more (+1), each with its prior.

    A set that cannot be (a frame with nothing left) gets none; its share is lost to all alike.
    """
    sign, size = change
    # Pieces of one line are alike: the share is split by ways to pick, so that two equal screws
    # count twice.
    ways_in_all = comb(whole.pieces, size)
    for chosen in combinations_with_replacement(whole.parts, size):
        ways = _ways(chosen)
        if ways and sign > 0:
            yield whole.but(Explanation.EXTRA, share * ways / ways_in_all, come=chosen)
        # A frame with every piece missing would not have been weighed.
        elif ways and whole.pieces > size:
            yield whole.but(Explanation.MISSING, share * ways / ways_in_all, gone=chosen)


def _one_missing_one_extra(whole: _Whole, share: float) -> Iterator[Hypothesis]:
    """Every pair of unlike pieces, one gone and the other there once more."""
    # Ordered pairs of pieces less those of one line, which would exchange a piece for its own like.
    pairs_in_all = whole.pieces**2 - sum(part.count**2 for part in whole.parts)
    for gone, come in permutations(whole.parts, 2):
        prior = share * gone.count * come.count / pairs_in_all
        yield whole.but(Explanation.EXCHANGED, prior, gone=(gone,), come=(come,))


def _of_another_model(
    whole: _Whole, others: Sequence[Component], share: float
) -> Iterator[Hypothesis]:
    """Every piece exchanged for one of another model that has the same key."""
    by_key = {part.key: part for part in whole.parts}
    likes = [(by_key[other.key], other) for other in others if other.key in by_key]
    pairs_in_all = sum(gone.count for gone, _ in likes)
    for gone, come in likes:
        prior = share * gone.count / pairs_in_all
        yield whole.but(Explanation.EXCHANGED, prior, gone=(gone,), come=(come,))


def _ways(gone: Sequence[Component]) -> int:
    """Return in how many ways these pieces can be picked; 0 when there are not so many."""
    wanted = Counter(part.key for part in gone)
    ways = 1
    for part in {part.key: part for part in gone}.values():
        ways *= comb(part.count, wanted[part.key])
    return ways


def merged(hypotheses: Iterable[Hypothesis]) -> list[Hypothesis]:
    """Join the hypotheses that foretell the same mass and spread: no scale tells them apart."""
    joined: dict[tuple[Explanation, int, int], Hypothesis] = {}
    for one in hypotheses:
        # Floats are compared in thousandths of mg²: two sums of the same terms may differ in the
        # last bit.
        key = (one.explanation, one.mean_mg, round(one.variance_mg2 * 1000))
        other = joined.get(key)
        if other is None:
            joined[key] = one
            continue
        joined[key] = Hypothesis(
            one.explanation,
            other.changes + one.changes,
            one.mean_mg,
            one.variance_mg2,
            other.prior + one.prior,
        )
    return list(joined.values())
