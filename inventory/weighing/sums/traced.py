"""Masses traced to the readings that they rest on, so that a common error counts as it must.

A mass in the books is a sum and difference of readings. Two masses with a reading in common are
correlated: what is put into a box and what is left in it, or a month's opening and closing. So a
mass is kept as whole coefficients on its sources, and its uncertainty is worked out last: a
reading that stands on both sides cancels, a scale's common error within one calibration period
adds with its sign, and every reading's own part adds as root sum of squares (GUM, JCGM 100:2008,
5.2.2 with note 1, and F.1.2.3). What no weighing supports is counted apart and never given an
uncertainty. All of it is in whole milligrams and micrograms; nothing here is a float.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from math import isqrt
from typing import Any

from inventory.weighing.sums.weighing import COVERAGE_FACTOR

COVERAGE = int(COVERAGE_FACTOR)

Flag = tuple[str, str]
"""The scale's key and what was out of order with it."""


# Compared by identity: two readings of 24.310 g on one scale are still two, and must not cancel.
@dataclass(frozen=True, slots=True, eq=False)
class Source:
    """What a mass can rest on: one reading, one booked figure, or several carried on as one.

    `shared_ug` holds the standard uncertainty per scale and calibration period with its sign;
    `booked_mg` is mass that no weighing supports; `flags` counts readings. Two sources are the
    same only if they are one object.
    """

    mass_mg: int
    own_ug2: int = 0
    shared_ug: tuple[tuple[str, int], ...] = ()
    booked_mg: int = 0
    readings: int = 0
    flags: tuple[tuple[Flag, int], ...] = ()


@dataclass(frozen=True, slots=True)
class MassUncertainty:
    """The uncertainty of a mass: expanded (k = 2, rounded up), with what stands behind it.

    `booked_mg` is the part that no weighing supports and that `expanded_ug` leaves out.
    """

    expanded_ug: int = 0
    booked_mg: int = 0
    readings: int = 0
    flags: tuple[tuple[Flag, int], ...] = ()

    @property
    def is_weighed(self) -> bool:
        """Whether at least one reading stands behind it."""
        return self.readings > 0


def reading(
    mass_mg: int,
    *,
    own_ug: int,
    shared_ug: tuple[tuple[str, int], ...],
    flags: Iterable[Flag] = (),
) -> Source:
    """Return one reading as a source.

    `shared_ug` has its part in each common error, by the error's name: that of the scale and its
    calibration period, and what is finer than that.
    """
    marked = tuple((flag, 1) for flag in flags)
    return Source(mass_mg, own_ug**2, shared_ug, 0, 1, marked)


def booked(mass_mg: int) -> Source:
    """Return a mass that was typed, counted by pieces or taken from a drawing, as a source.

    Nobody weighed it, so it has no uncertainty: it is counted apart.
    """
    return Source(mass_mg, booked_mg=abs(mass_mg))


@dataclass(slots=True)
class MassWithReadings:
    """A mass as whole coefficients on its sources; a source with coefficient 0 is not kept."""

    parts: dict[Source, int] = field(default_factory=dict)

    @classmethod
    def of(cls, source: Source) -> MassWithReadings:
        """Return a mass that is the source itself."""
        return cls({source: 1})

    @classmethod
    def total(cls, masses: Iterable[MassWithReadings]) -> MassWithReadings:
        """Return the plain sum of several masses."""
        found = cls()
        for mass in masses:
            found.add(mass)
        return found

    def add(self, other: MassWithReadings, times: int = 1) -> None:
        """Add `times` the other, in place."""
        for source, coefficient in other.parts.items():
            now = self.parts.get(source, 0) + times * coefficient
            if now:
                self.parts[source] = now
            else:
                # Dropped at 0 and not kept: what cancelled must not be named as standing behind the
                # mass.
                self.parts.pop(source, None)

    def less(self, other: MassWithReadings) -> MassWithReadings:
        """Return the difference as a new mass."""
        found = self.copy()
        found.add(other, -1)
        return found

    def times(self, factor: int) -> MassWithReadings:
        """Return a multiple as a new mass; -1 turns it round."""
        found = MassWithReadings()
        found.add(self, factor)
        return found

    def copy(self) -> MassWithReadings:
        return MassWithReadings(dict(self.parts))

    @property
    def mass_mg(self) -> int:
        """What the sources add up to, which is what the books have."""
        return sum(times * source.mass_mg for source, times in self.parts.items())

    def known(self) -> MassUncertainty:
        """Return the uncertainty of the mass."""
        as_one = self.as_one()
        variance_ug2 = as_one.own_ug2 + sum(u_ug**2 for _key, u_ug in as_one.shared_ug)
        return MassUncertainty(
            _root_up(COVERAGE**2 * variance_ug2), as_one.booked_mg, as_one.readings, as_one.flags
        )

    def as_one(self) -> Source:
        """Return all sources as one, such as what a place carries over a close."""
        shared_ug: Counter[str] = Counter()
        flags: Counter[Flag] = Counter()
        for source, times in self.parts.items():
            for key, u_ug in source.shared_ug:
                # Shared errors add with their signs before they are squared (GUM 5.2.2, note 1);
                # the own parts below are squared first.
                shared_ug[key] += times * u_ug
            for flag, count in source.flags:
                flags[flag] += count
        return Source(
            self.mass_mg,
            sum(times**2 * source.own_ug2 for source, times in self.parts.items()),
            tuple(sorted((key, u_ug) for key, u_ug in shared_ug.items() if u_ug)),
            # Without the sign: mass that nobody weighed on either side is doubt on both.
            sum(abs(times) * source.booked_mg for source, times in self.parts.items()),
            sum(source.readings for source in self.parts),
            tuple(sorted(flags.items())),
        )


def frozen(source: Source) -> list[object]:
    """Return a source as plain JSON, to be kept at a close."""
    return [
        source.mass_mg,
        source.own_ug2,
        [list(pair) for pair in source.shared_ug],
        source.booked_mg,
        source.readings,
        [[*flag, count] for flag, count in source.flags],
    ]


def thawed(row: Sequence[Any]) -> Source:
    """Return what `frozen` made as a source again."""
    # By position: closed months hold rows of this shape, and their digests cover them.
    mass_mg, own_ug2, shared_ug, booked_mg, readings, flags = row
    return Source(
        mass_mg,
        own_ug2,
        tuple((key, u_ug) for key, u_ug in shared_ug),
        booked_mg,
        readings,
        tuple(((scale, flag), count) for scale, flag, count in flags),
    )


def frozen_known(known: MassUncertainty) -> list[object]:
    """Return an uncertainty as plain JSON, to be kept at a close."""
    flags = [[*flag, count] for flag, count in known.flags]
    return [known.expanded_ug, known.booked_mg, known.readings, flags]


def thawed_known(row: Sequence[Any]) -> MassUncertainty:
    """Return what `frozen_known` made as an uncertainty again."""
    expanded_ug, booked_mg, readings, flags = row
    kept = tuple(((scale, flag), count) for scale, flag, count in flags)
    return MassUncertainty(expanded_ug, booked_mg, readings, kept)


def _root_up(square: int) -> int:
    """Return the square root, rounded up: an uncertainty is never made smaller."""
    # In whole numbers: the squares outgrow what a float holds exactly, and the figure is in the
    # digest of a closed month.
    root = isqrt(square)
    return root if root**2 == square else root + 1


@dataclass(frozen=True, slots=True)
class Rest:
    """A run's box, the movement that its mass stood at, and that mass."""

    place: str
    movement: int
    mass_mg: int


@dataclass(frozen=True, slots=True)
class Step:
    """One posting of a replay. Places are named as the caller likes; `subject` is a tag or "".

    `apart` says which of the two places keep each subject's mass apart. `undoes` is the step that
    a reversal mirrors. `sets` says that the reading shows what lies at the place afterwards, so
    that the posting is only the difference to the books. `left` are readings of what may have
    stayed at that place, each to be taken if it shows just that. `rest_of` is what a grind run
    took, of which this is what no other line of the run accounts for.
    """

    key: tuple[int, int]
    source: str
    target: str
    subject: str
    quantity_mg: int
    reading: Source | None = None
    undoes: tuple[int, int] | None = None
    sets: str = ""
    left: tuple[Source, ...] = ()
    rest_of: Rest | None = None


Account = tuple[str, str]


class Replay:
    """Follows postings in the books' order and traces each, and what every place holds.

    The rules, first that fits:

    1. A reversal moves what it undoes, where the replay has come by that.
    2. A count moves its reading less what the place was traced to; so does the difference of a
       frame that was taken apart, of which something weighed stays on the bench.
    3. A posting whose reading shows its mass moves that reading.
    4. What empties a place, or brings it back to nothing, moves all that is traced to it. So a
       mass that is carried inherits its weighing, and a remainder is a difference of readings.
       The world outside is never empty.
    5. A run's difference moves what lay in the box less what was weighed out of it.
    6. Anything else is booked: a nominal mass, or opening stock that was typed.

    What is empty is empty, however the weighings that came and went differ: an account at a place
    of `cleared` that comes back to nothing has nothing left to be in doubt of.
    """

    def __init__(
        self,
        opening: Mapping[Account, Source] | None = None,
        *,
        apart: frozenset[str],
        outside: frozenset[str],
        cleared: frozenset[str] | None = None,
    ) -> None:
        self._cleared = apart if cleared is None else cleared
        self.held: dict[Account, MassWithReadings] = {
            account: MassWithReadings.of(source)
            for account, source in (opening or {}).items()
            if source.mass_mg or account[0] not in self._cleared
        }
        self.mass_mg: Counter[Account] = Counter(
            {account: source.mass_mg for account, source in (opening or {}).items()}
        )
        self.moved: dict[tuple[int, int], MassWithReadings] = {}
        self._apart = apart
        self._outside = outside
        self._touched: set[Account] = set()
        self._marks: dict[tuple[str, int], MassWithReadings] = {}
        self._weighed_out: dict[int, MassWithReadings] = {}

    def follow(self, steps: Iterable[Step], marks: Iterable[tuple[str, int]] = ()) -> None:
        """Replay postings; `marks` are (place, movement) whose holding a run refers to."""
        waiting = sorted(set(marks), key=lambda mark: mark[1])
        number = 0
        for step in steps:
            # A mark is set before the first posting after its movement: later it would hold what
            # was put into the box since.
            while waiting and waiting[0][1] < step.key[0]:
                self._mark(waiting.pop(0))
            # Between movements only: within one, a place may come to nothing and be filled again.
            if step.key[0] != number:
                self._clear()
                number = step.key[0]
            moved = self._of(step)
            self.moved[step.key] = moved
            if step.reading is not None:
                self._weighed_out.setdefault(step.key[0], MassWithReadings()).add(moved)
            self._book(step, moved)
        self._clear()

    def _clear(self) -> None:
        gone = [key for key in self._touched if not self.mass_mg[key] and key[0] in self._cleared]
        for account in gone:
            self.held.pop(account, None)
        self._touched.clear()

    def _mark(self, mark: tuple[str, int]) -> None:
        held = self.held.get((mark[0], ""))
        self._marks[mark] = held.copy() if held else MassWithReadings()

    def _account(self, place: str, subject: str) -> Account:
        return (place, subject if place in self._apart else "")

    def _of(self, step: Step) -> MassWithReadings:
        if step.undoes is not None and step.undoes in self.moved:
            return self.moved[step.undoes]
        for seen in self._seen(step):
            counted = self._counted(step, seen)
            if counted is not None:
                return counted
        if step.reading is not None and step.reading.mass_mg == step.quantity_mg:
            return MassWithReadings.of(step.reading)
        return (
            self._whole(step) or self._rest(step) or MassWithReadings.of(booked(step.quantity_mg))
        )

    @staticmethod
    def _seen(step: Step) -> tuple[Source, ...]:
        if step.undoes is not None or not step.sets:
            return ()
        return (*([step.reading] if step.reading else ()), *step.left)

    def _counted(self, step: Step, seen: Source) -> MassWithReadings | None:
        account = self._account(step.sets, step.subject)
        sign = 1 if step.sets == step.target else -1
        # The reading must be what the books hold once this posting is done, or it shows something
        # else.
        if self.mass_mg[account] + sign * step.quantity_mg != seen.mass_mg:
            return None
        return (
            MassWithReadings.of(seen).less(self.held.get(account, MassWithReadings())).times(sign)
        )

    def _whole(self, step: Step) -> MassWithReadings | None:
        for place, sign in ((step.source, 1), (step.target, -1)):
            account = self._account(place, step.subject)
            # The world outside never runs empty, so nothing there is "all that is left".
            if place in self._outside or account not in self.held:
                continue
            if self.mass_mg[account] == sign * step.quantity_mg:
                return self.held[account].times(sign)
        return None

    def _rest(self, step: Step) -> MassWithReadings | None:
        rest = step.rest_of
        taken = self._marks.get((rest.place, rest.movement)) if rest else None
        if rest is None or taken is None or taken.mass_mg != rest.mass_mg:
            return None
        left = taken.less(self._weighed_out.get(step.key[0], MassWithReadings()))
        sign = 1 if step.source == rest.place else -1
        return left.times(sign) if left.mass_mg == sign * step.quantity_mg else None

    def _book(self, step: Step, moved: MassWithReadings) -> None:
        for place, sign in ((step.source, -1), (step.target, 1)):
            account = self._account(place, step.subject)
            self._touched.add(account)
            # Kept beside `held`: what the books hold decides which rule fits, whatever the readings
            # add up to.
            self.mass_mg[account] += sign * step.quantity_mg
            self.held.setdefault(account, MassWithReadings()).add(moved, sign)

    def at(self, place: str) -> MassWithReadings:
        """Return what a place holds, all subjects together."""
        return MassWithReadings.total(
            held for (name, _), held in self.held.items() if name == place
        )

    def carried(self) -> dict[Account, Source]:
        """Return what every place holds, each as one source, without places that hold nothing."""
        return {
            account: held.as_one()
            for account, held in sorted(self.held.items(), key=lambda item: item[0])
            if held.parts
        }
