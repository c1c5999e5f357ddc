"""This month beside the one before it, figure by figure."""

from __future__ import annotations

from dataclasses import dataclass

from inventory.queries.recovered.shapes import Report


@dataclass(frozen=True, slots=True)
class Beside:
    """One figure of two months; `unit` is mg, pc or minor."""

    key: str
    unit: str
    now: int
    before: int

    @property
    def difference(self) -> int:
        return self.now - self.before


_LOSSES = ("dust", "purge", "moisture", "difference")


def beside(report: Report, before: Report) -> tuple[Beside, ...]:
    """The figures that an accountant looks at first."""
    return tuple(
        Beside(key, unit, now, earlier)
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
        ("losses", "mg", sum(total.cell(column).quantity for column in _LOSSES)),
        ("issued", "mg", total.cell("issued").quantity),
        ("closing", "mg", total.closing),
        ("carried", "minor", report.carried_minor),
    ]
