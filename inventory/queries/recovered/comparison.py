"""This month beside the one before it: figure by figure, and what moved each.

A flow is explained by the classes and columns that differ most, the closing stock by this month's
own flows, for that is all that parts it from the closing before, and its worth class by class.
Behind each stand the biggest movements of the month that has more of it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from inventory.queries.recovered import entries
from inventory.queries.recovered.columns import LOSSES, MATERIAL
from inventory.queries.recovered.entries import MATERIAL_KINDS, Entry
from inventory.queries.recovered.shapes import Class, Report
from inventory.queries.recovered.worth import class_of
from inventory.sums.traced import Known

CAUSES_MAX = 3
MOVEMENTS_MAX = 3
# From box to lot: it stays in its class, so it moves no closing stock.
INSIDE = frozenset({"ground_in", "ground_out"})


@dataclass(frozen=True, slots=True)
class Biggest:
    """A movement's part in a figure, signed, in milligrams."""

    number: int
    kind: str
    subject: str
    mass_mg: int


@dataclass(frozen=True, slots=True)
class Cause:
    """What moved a figure by `change`, in the figure's own unit.

    `now` and `before` are the two months' amounts, for a worth the masses in stock. `label` is the
    month that the biggest movements lie in.
    """

    material: Class
    column: str
    change: int
    now: int
    before: int
    label: str = ""
    biggest: tuple[Biggest, ...] = ()


@dataclass(frozen=True, slots=True)
class Beside:
    """One figure of two months; `unit` is mg, pc or minor. `rest` is what no cause accounts for."""

    key: str
    unit: str
    now: int
    before: int
    causes: tuple[Cause, ...] = ()
    known: Known | None = None
    known_before: Known | None = None

    @property
    def difference(self) -> int:
        return self.now - self.before

    @property
    def rest(self) -> int:
        return self.difference - sum(cause.change for cause in self.causes)


_FLOWS = {"credited": ("credited",), "losses": LOSSES, "issued": ("issued",)}


def beside(report: Report, before: Report) -> tuple[Beside, ...]:
    """The figures that an accountant looks at first, each with what moved it."""
    moved = _Moved(report, before)
    return tuple(
        Beside(
            key,
            unit,
            now,
            earlier,
            moved.causes(key) if now != earlier else (),
            report.known_of("total", key) if unit == "mg" else None,
            before.known_of("total", key) if unit == "mg" else None,
        )
        for (key, unit, now), (_key, _unit, earlier) in zip(
            _figures(report), _figures(before), strict=True
        )
    )


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

    def __init__(self, report: Report, before: Report) -> None:
        self._now, self._before = report, before
        places = entries.all_places()
        self._movements = {
            one.label: _by_figure(entries.of_month(one.label, places)) for one in (report, before)
        }

    def causes(self, key: str) -> tuple[Cause, ...]:
        """What moved a figure most, largest first."""
        if key in _FLOWS:
            found = self._flows(_FLOWS[key])
        elif key == "closing":
            found = self._closing()
        else:
            found = self._worth() if key == "carried" else iter(())
        moved = sorted(
            (cause for cause in found if cause.change),
            key=lambda cause: (-abs(cause.change), cause.material, cause.column),
        )
        return tuple(moved[:CAUSES_MAX])

    def _flows(self, columns: Iterable[str]) -> Iterator[Cause]:
        classes = {key for one in (self._now, self._before) for key, _flows in one.classes}
        for material in classes:
            now, before = self._now.of(material), self._before.of(material)
            for column in columns:
                amounts = now.cell(column).quantity, before.cell(column).quantity
                more = self._now if abs(amounts[0]) >= abs(amounts[1]) else self._before
                yield Cause(
                    material,
                    column,
                    amounts[0] - amounts[1],
                    *amounts,
                    more.label,
                    self._biggest(more.label, material, column),
                )

    def _closing(self) -> Iterator[Cause]:
        for material, flows in self._now.classes:
            for column in MATERIAL:
                change = flows.cell(column).quantity
                if column not in INSIDE:
                    biggest = self._biggest(self._now.label, material, column)
                    yield Cause(material, column, change, change, 0, self._now.label, biggest)

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
            )

    def _biggest(self, label: str, material: Class, column: str) -> tuple[Biggest, ...]:
        found = self._movements[label].get((material, column), {})
        ranked = sorted(found.values(), key=lambda one: (-abs(one.mass_mg), one.number))
        return tuple(ranked[:MOVEMENTS_MAX])


def _by_figure(found: Iterable[Entry]) -> Mapping[tuple[Class, str], dict[int, Biggest]]:
    sums: Counter[tuple[Class, str, int]] = Counter()
    told: dict[int, Entry] = {}
    for entry in found:
        for place in (entry.source, entry.target):
            column = entry.column(place) if place.kind in MATERIAL_KINDS else None
            if column:
                sums[class_of(place), column, entry.number] += entry.signed(place)
                told[entry.number] = entry
    figures: dict[tuple[Class, str], dict[int, Biggest]] = {}
    for (material, column, number), mass_mg in sums.items():
        entry = told[number]
        one = Biggest(number, entry.kind, entry.subject, mass_mg)
        figures.setdefault((material, column), {})[number] = one
    return figures
