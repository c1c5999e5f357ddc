"""The flow of grams as a drawing: boxes for places, ribbons as wide as what passed.

On a page it runs from left to right. On a phone it runs from top to bottom, so that it is seen
whole: there the ends stand too close for their names, and have numbers with a list below.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from textwrap import wrap

from django.utils.html import format_html
from django.utils.safestring import SafeString

from returns.charts import canvas
from returns.charts.canvas import EDGE_PX, LETTER_PX, LINE_PX, NARROW, WIDTH, Title
from returns.charts.streams import BOX_PX, Box, Layout, Ribbon, Room

LEFT = 118.0
RIGHT = 232.0
TOP = 60.0
PAGE = Room(width=770, height=480, gap=76, last_gap=26)
PHONE = Room(width=520, height=NARROW - 2 * EDGE_PX, gap=110, last_gap=16)
Shape = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Lie:
    """How a layout lies on its sheet: along the flow and across it, to x and y."""

    upright: bool

    def at(self, along: float, across: float) -> tuple[float, float]:
        if self.upright:
            return EDGE_PX + across, TOP + along
        return LEFT + along, TOP + across

    def shape(self, along: float, across: float, deep: float, wide: float) -> Shape:
        """Return a box, so deep along the flow and so wide across it, never too thin to be seen."""
        x, y = self.at(along, across)
        wide = max(1.0, wide)
        return (x, y, wide, deep) if self.upright else (x, y, deep, wide)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlowWords:
    """The words of a drawing: the places' names, how a mass reads, and what stayed in a box."""

    names: Mapping[str, str]
    mass: Callable[[int], str]
    stock: Callable[[Box], str]

    def of(self, box: Box) -> list[str]:
        lines = [self.names[box.key], self.mass(box.mass_mg), self.stock(box)]
        return [line for line in lines if line]

    def in_one(self, box: Box) -> str:
        return " · ".join(self.of(box)[:2])


def room(width: float) -> Room:
    """Return what to lay a flow out on, for a sheet of a width: gaps leave room for the names."""
    return PHONE if canvas.is_narrow(width) else PAGE


def flow(called: Title, layout: Layout, words: FlowWords, *, width: float = WIDTH) -> SafeString:
    """Draw a layout made for `room(width)`; it runs down the sheet where that is a phone's."""
    lie = Lie(canvas.is_narrow(width))
    last = max((box.x for box in layout.boxes), default=0)
    # Ribbons before boxes and names: what is drawn later lies on top.
    drawn = [_ribbon(one, lie, words) for one in layout.ribbons]
    for box in layout.boxes:
        kind = "chart-mark chart-mark-2" if box.is_end else "chart-mark chart-mark-1"
        shape = lie.shape(box.x, box.y, BOX_PX, box.height)
        drawn.append(canvas.rect(shape, kind, f"{words.names[box.key]}: {words.mass(box.mass_mg)}"))
        drawn += _stock(box, layout.px_per_mg, lie)
    if lie.upright:
        foot = TOP + last + BOX_PX
        ends = [box for box in layout.boxes if box.x >= last]
        drawn += [text for box in layout.boxes if box.x < last for text in _above(box, lie, words)]
        drawn += _numbered(ends, foot, words)
        height = foot + (len(ends) + 2) * LINE_PX
        return canvas.picture(called, drawn, height=height, width=NARROW)
    drawn += [text for box in layout.boxes for text in _names_outside(box, last, words)]
    height = max((box.y + box.height for box in layout.boxes), default=0)
    sheet = LEFT + last + BOX_PX + RIGHT
    return canvas.picture(called, drawn, height=height + TOP + 16, width=sheet)


def _ribbon(one: Ribbon, lie: Lie, words: FlowWords) -> SafeString:
    # Both control points of the curve lie half way, so it leaves and enters level. A stream of few
    # milligrams would be thinner than a pixel: it is drawn a little too wide, and its title has the
    # mass.
    bend, wide = (one.x1 + one.x2) / 2, max(0.75, one.width)
    edge = [(one.x1, one.y1), (bend, one.y1), (bend, one.y2), (one.x2, one.y2)]
    back = [(along, across + wide) for along, across in reversed(edge)]
    there, again = (
        [f"{x:.2f},{y:.2f}" for x, y in (lie.at(*point) for point in side)] for side in (edge, back)
    )
    names, stream = words.names, one.stream
    data = f"{names[stream.source]} → {names[stream.target]}: {words.mass(stream.mass_mg)}"
    return format_html(
        '<path class="chart-ribbon" d="M{} C{} L{} C{} Z">{}</path>',
        there[0],
        " ".join(there[1:]),
        again[0],
        " ".join(again[1:]),
        canvas.title(data),
    )


def _stock(box: Box, px_per_mg: float, lie: Lie) -> list[SafeString]:
    """Draw what stayed, or was taken from what lay there, as a coloured end of the box."""
    mass_mg = box.to_stock_mg or box.from_stock_mg
    if not mass_mg:
        return []
    wide = mass_mg * px_per_mg
    # On the side on which a ribbon would have come or gone.
    side = 0.0 if box.from_stock_mg else BOX_PX / 2
    shape = lie.shape(box.x + side, box.y + box.height - wide, BOX_PX / 2, wide)
    return [canvas.rect(shape, "chart-stock")]


def _names_outside(box: Box, last: float, words: FlowWords) -> list[SafeString]:
    """Write names as on a page: those of the ends to their sides, the others above them."""
    middle = TOP + box.y + box.height / 2 + 4
    if box.x >= last:
        return [canvas.text(LEFT + box.x + BOX_PX + 8, middle, words.in_one(box))]
    if box.x <= 0:
        name, mass = words.of(box)[:2]
        return [
            canvas.text(LEFT + box.x - 8, middle - LINE_PX / 2, name, "end"),
            canvas.text(LEFT + box.x - 8, middle + LINE_PX / 2, mass, "end"),
        ]
    return _lines(words.of(box), LEFT + box.x + BOX_PX / 2, TOP + box.y - 6, "middle")


def _above(box: Box, lie: Lie, words: FlowWords) -> list[SafeString]:
    """Write a name as on a phone: above its box, flush with a side that leaves it on the sheet."""
    name, *rest = words.of(box)
    # A name may be as wide as the gap between two boxes; a broken word would read as two.
    lines = [*wrap(name, int(PHONE.gap / LETTER_PX), break_long_words=False), *rest]
    x, y = lie.at(box.x, box.y)
    if x + LETTER_PX * max(map(len, lines)) <= NARROW:
        return _lines(lines, x, y - 6, "start")
    return _lines(lines, x + max(1.0, box.height), y - 6, "end")


def _lines(lines: Sequence[str], x: float, foot: float, anchor: str) -> list[SafeString]:
    return [
        canvas.text(x, foot - LINE_PX * (len(lines) - 1 - n), line, anchor, "chart-halo")
        for n, line in enumerate(lines)
    ]


def _numbered(ends: Sequence[Box], foot: float, words: FlowWords) -> list[SafeString]:
    """Write a number under each end, and below them what each number is."""
    drawn = []
    for number, box in enumerate(ends, start=1):
        middle = EDGE_PX + box.y + box.height / 2
        drawn.append(canvas.text(middle, foot + LINE_PX, str(number), "middle"))
        y = foot + (number + 1.5) * LINE_PX
        drawn.append(canvas.text(EDGE_PX + 14, y, str(number), "end", "chart-quiet"))
        drawn.append(canvas.text(EDGE_PX + 22, y, words.in_one(box)))
    return drawn
