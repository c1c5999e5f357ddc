"""This month compared with the one before it: figure by figure, and what moved each.

A flow is explained by the classes and columns that differ most, the closing stock by this month's
own flows, for that is all that parts it from the closing before, and its worth class by class.
Behind each stand the biggest movements of the month that has more of it.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from inventory.ledger.sums.recipes import COLUMNS, LOSSES, MATERIAL
from inventory.months.queries.recovered.shapes import Class, Report
from inventory.months.queries.recovered.worth import class_of, material_sides
from inventory.months.queries.replays import MonthReplay
from inventory.weighing.sums.traced import MassUncertainty, MassWithReadings

CAUSES_MAX = 3
MOVEMENTS_MAX = 3


@dataclass(frozen=True, slots=True)
class LargestMovement:
    """A movement's part in a figure, signed, in milligrams, and its uncertainty."""

    number: int
    kind: str
    subject: str
    mass_mg: int
    known: MassUncertainty | None = None


@dataclass(frozen=True, slots=True)
class Cause:
    """What moved a figure by `change`, in the figure's own unit.

    `now` and `before` are the two months' amounts, for a worth the masses in stock, each with how
    well it is known. `label` is the month that the biggest movements lie in.
    """

    material: Class
    column: str
    change: int
    now: int
    before: int
    known: MassUncertainty | None
    known_before: MassUncertainty | None
    label: str = ""
    biggest: tuple[LargestMovement, ...] = ()


@dataclass(frozen=True, slots=True)
class Comparison:
    """One figure of two months; `unit` is mg, pc or minor. `rest` is what no cause accounts for."""

    key: str
    unit: str
    now: int
    before: int
    causes: tuple[Cause, ...] = ()
    known: MassUncertainty | None = None
    known_before: MassUncertainty | None = None
    known_difference: MassUncertainty | None = None
    known_rest: MassUncertainty | None = None

    @property
    def difference(self) -> int:
        return self.now - self.before

    @property
    def rest(self) -> int:
        return self.difference - sum(cause.change for cause in self.causes)


WATCHED = {
    figure: tuple(name for name, column in COLUMNS.items() if column.watched == figure)
    for figure in ("credited", "losses", "issued")
}
"""Figure -> the columns that it adds up."""


def compare(
    report: Report, before: Report, replays: Mapping[str, MonthReplay]
) -> tuple[Comparison, ...]:
    """Return the figures that an accountant looks at first, each with what moved it.

    `replays` has both months, replayed together: what both rest on then cancels in a difference.
    """
    moved = _Moved(report, before, replays)
    pairs = zip(_figures(report), _figures(before), strict=True)
    return tuple(moved.line(key, unit, now, was) for (key, unit, now), (_k, _u, was) in pairs)


def _figures(report: Report) -> list[tuple[str, str, int]]:
    total, frames = report.total, report.frames
    return [
        ("received", "pc", frames.received.quantity),
        ("mended", "pc", frames.mended.quantity),
        ("reground", "pc", frames.reground.quantity),
        ("credited", "mg", total.cell("credited").quantity),
        ("losses", "mg", sum(total.cell(column).quantity for column in LOSSES)),
        ("issued", "mg", total.cell("issued").quantity),
        ("closing", "mg", total.closing),
        ("carried", "minor", report.carried_minor),
    ]


class _Moved:
    """Two months' masses by class and column, and the movements behind them, read once."""

    def __init__(self, report: Report, before: Report, replays: Mapping[str, MonthReplay]) -> None:
        self._now, self._before = report, before
        self._movements = {one.label: _by_figure(replays[one.label]) for one in (report, before)}

    def line(self, key: str, unit: str, now: int, before: int) -> Comparison:
        """Return one figure with what moved it; for a mass also the uncertainties."""
        causes = self.causes(key) if now != before else ()
        if unit != "mg":
            return Comparison(key, unit, now, before, causes)
        known, earlier = (one.total.known_of(key) for one in (self._now, self._before))
        difference = self._parted(key, WATCHED.get(key, MATERIAL))
        # What the causes explain is taken off with its readings, so that the rest is no more
        # uncertain than what is really left.
        rest = difference.copy()
        for cause in causes:
            rest.add(self._parted(key, (cause.column,), cause.material), -1)
        return Comparison(
            key, unit, now, before, causes, known, earlier, difference.known(), rest.known()
        )

    def _parted(
        self, key: str, columns: Collection[str], of: Class | None = None
    ) -> MassWithReadings:
        """Return the difference of a figure between two months, in all or of a class.

        What both share cancels. Two closings differ by what moved in the later month alone.
        """
        now, before = (
            MassWithReadings.total(
                mass
                for (material, column), parts in self._movements[one.label].items()
                if column in columns and of in (None, material)
                for _biggest, mass in parts.values()
            )
            for one in (self._now, self._before)
        )
        return now if key == "closing" else now.less(before)

    def causes(self, key: str) -> tuple[Cause, ...]:
        """Return what moved a figure most, largest first."""
        if key in WATCHED:
            found = self._flows(WATCHED[key])
        elif key == "closing":
            found = self._closing()
        else:
            found = self._worth() if key == "carried" else iter(())
        moved = sorted(
            (cause for cause in found if cause.change),
            # Class and column break ties, so that a closed month's page reads alike each time.
            key=lambda cause: (-abs(cause.change), cause.material, cause.column),
        )
        return tuple(moved[:CAUSES_MAX])

    def _flows(self, columns: Iterable[str]) -> Iterator[Cause]:
        classes = {key for one in (self._now, self._before) for key, _flows in one.classes}
        for material in classes:
            now, before = self._now.of(material), self._before.of(material)
            for column in columns:
                amounts = now.cell(column).quantity, before.cell(column).quantity
                # The movements that explain a fall lie in the month before, where there was more.
                more = self._now if abs(amounts[0]) >= abs(amounts[1]) else self._before
                yield Cause(
                    material,
                    column,
                    amounts[0] - amounts[1],
                    *amounts,
                    now.known_of(column),
                    before.known_of(column),
                    more.label,
                    self._biggest(more.label, material, column),
                )

    def _closing(self) -> Iterator[Cause]:
        for material, flows in self._now.classes:
            for column in MATERIAL:
                change = flows.cell(column).quantity
                if not COLUMNS[column].inside:  # it stays in its class
                    label, known = self._now.label, flows.known_of(column)
                    biggest = self._biggest(label, material, column)
                    yield Cause(material, column, change, change, 0, known, None, label, biggest)

    def _worth(self) -> Iterator[Cause]:
        now, before = ({w.material: w for w in one.worth} for one in (self._now, self._before))
        for material in {*now, *before}:
            ours, theirs = now.get(material), before.get(material)
            yield Cause(
                material,
                "carried",
                (ours.carried_minor if ours else 0) - (theirs.carried_minor if theirs else 0),
                ours.closing_mg if ours else 0,
                theirs.closing_mg if theirs else 0,
                self._now.of(material).known_of("closing"),
                self._before.of(material).known_of("closing"),
            )

    def _biggest(self, label: str, material: Class, column: str) -> tuple[LargestMovement, ...]:
        found = self._movements[label].get((material, column), {}).values()
        ranked = sorted(found, key=lambda one: (-abs(one[0].mass_mg), one[0].number))
        return tuple(replace(one, known=mass.known()) for one, mass in ranked[:MOVEMENTS_MAX])


_Parts = dict[int, tuple[LargestMovement, MassWithReadings]]


def _by_figure(replay: MonthReplay) -> Mapping[tuple[Class, str], _Parts]:
    """Return class and column -> movement -> its part in that figure, with its readings."""
    figures: dict[tuple[Class, str], _Parts] = {}
    for entry, moved in replay.moved:
        for _entry, place, column in material_sides([entry]):
            parts = figures.setdefault((class_of(place), column), {})
            first = LargestMovement(entry.number, entry.kind, entry.subject, 0), MassWithReadings()
            one, mass = parts.get(entry.number, first)
            mass.add(moved, 1 if place == entry.target else -1)
            parts[entry.number] = replace(one, mass_mg=one.mass_mg + entry.signed(place)), mass
    return figures
