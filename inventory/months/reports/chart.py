"""The month as a picture: from opening to closing, one step per flow. SVG made here, no script.

Every bar carries its figure in words, so colour says nothing alone; the table stands beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from xml.sax.saxutils import escape

from django.utils.translation import gettext as _

from inventory.furniture.numbers import grams
from inventory.ledger.sums.recipes import COLUMNS
from inventory.months.queries.recovered.shapes import Report
from inventory.months.reports.headings import SHORT

BAR_HEIGHT = 20
STEP = 30
TOP = 8
STANDING, GAIN, LOSS = "#5d6b75", "#2f8062", "#b4573a"


@dataclass(frozen=True, slots=True)
class Shape:
    """How wide the picture is, and how much of it names and figures take."""

    name: str
    width: int
    label_width: int
    figure_width: int


WIDE = Shape("wide", 760, 150, 110)
NARROW = Shape("narrow", 350, 104, 84)
"""For a phone: the figures stand in its window without scrolling."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar: from one level to another, in milligrams."""

    label: str
    start_mg: int
    end_mg: int
    colour: str
    text: str


def bars(report: Report) -> list[Bar]:
    """Return opening, every flow of the total that is not zero, and closing, as bars.

    What goes from box to lot stays inside and is left out.
    """
    total = report.total
    found = [Bar(str(SHORT["opening"]), 0, total.opening, STANDING, grams(total.opening))]
    level_mg = total.opening
    for name, column in COLUMNS.items():
        change_mg = total.cell(name).quantity
        if change_mg and not column.inside:
            found.append(_step(name, level_mg, change_mg))
            level_mg += change_mg
    found.append(Bar(str(SHORT["closing"]), 0, total.closing, STANDING, grams(total.closing)))
    return found


def svg(report: Report, ink: str = "currentColor", shape: Shape = WIDE) -> str:
    """Return the picture as an SVG element, labelled for readers who do not see it."""
    found = bars(report)
    height = TOP * 2 + STEP * len(found)
    title = _("From opening to closing stock of boxes and lots in %(month)s, in grams")
    return "".join(
        [
            f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {shape.width} {height}" '
            f'role="img" class="waterfall {shape.name}" width="{shape.width}" height="{height}" '
            f'font-family="sans-serif" font-size="13">',
            f"<title>{escape(title % {'month': report.label})}</title>",
            f"<desc>{escape(in_words(found))}</desc>",
            *_drawn(found, ink, shape),
            "</svg>",
        ]
    )


def in_words(found: list[Bar]) -> str:
    """Return the picture in words, a label and a figure for each bar."""
    return "; ".join(f"{bar.label} {bar.text} g" for bar in found)


def _step(column: str, level_mg: int, change_mg: int) -> Bar:
    gain = change_mg > 0
    text = f"+{grams(change_mg)}" if gain else grams(change_mg)
    return Bar(str(SHORT[column]), level_mg, level_mg + change_mg, GAIN if gain else LOSS, text)


def _drawn(found: list[Bar], ink: str, shape: Shape) -> Iterator[str]:
    low_mg = min(0, *(min(bar.start_mg, bar.end_mg) for bar in found))
    # At least 1, or a month without stock would divide by nothing.
    high_mg = max(1, *(max(bar.start_mg, bar.end_mg) for bar in found))
    room = shape.width - shape.label_width - shape.figure_width

    def x(level_mg: int) -> int:
        # Whole numbers: the same month gives the same picture, to the byte, on every machine.
        return shape.label_width + room * (level_mg - low_mg) // (high_mg - low_mg)

    yield (
        f'<line x1="{x(0)}" y1="{TOP}" x2="{x(0)}" y2="{TOP + STEP * len(found)}" '
        f'stroke="{ink}" stroke-width="1" stroke-opacity="0.4"/>'
    )
    for index, bar in enumerate(found):
        yield from _bar(bar, TOP + STEP * index + 5, x(bar.start_mg), x(bar.end_mg))
        middle = TOP + STEP * index + 19
        yield (
            f'<text x="{shape.label_width - 8}" y="{middle}" text-anchor="end" fill="{ink}">'
            f"{escape(bar.label)}</text>"
        )
        yield (
            f'<text x="{shape.width}" y="{middle}" text-anchor="end" fill="{ink}">'
            f"{escape(bar.text)}</text>"
        )


def _bar(bar: Bar, y: int, start: int, end: int) -> Iterator[str]:
    yield (
        f'<rect x="{min(start, end)}" y="{y}" width="{max(abs(end - start), 1)}" '
        f'height="{BAR_HEIGHT}" fill="{bar.colour}"/>'
    )
