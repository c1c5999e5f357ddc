"""Curves over a span: how many are still out, what shares came back, what comes next."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.utils.safestring import SafeString

from returns.charts import canvas
from returns.charts.canvas import EDGE_PX, LINE_PX, WIDTH, Axis, Plot, Title

LINES_MAX = 6

Mark = Callable[[float], str]


@dataclass(frozen=True, slots=True)
class Point:
    """A point of a curve with its limits."""

    x: float
    y: float
    low: float
    high: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lived:
    """A product-limit curve with its band, a smooth fit over it, and how many were at risk.

    Words: `across` names the lying axis, `starts` says that the upright one does not begin at
    zero, `at_risk` heads the counts; `key` names curve, band and fit.
    """

    points: Sequence[Point]
    fit: Sequence[tuple[float, float]]
    at_risk: Sequence[tuple[float, int]]
    across: str
    starts: Callable[[str], str]
    at_risk_name: str
    key: tuple[str, str, str]


def survival(called: Title, lived: Lived, data: Mark, *, width: float = WIDTH) -> SafeString:
    """Draw the share still out, 1 at the start, on an axis that starts below its lowest limit."""
    # An axis of no length divides by zero.
    right = max((point.x for point in lived.points), default=1.0) or 1.0
    lowest = min((point.low for point in lived.points), default=0.0)
    up = Axis.over(lowest, 1.0, marks=5)
    names = _lived_key(lived)
    below = canvas.key_height([name for _kind, name in names], width=width)
    # An axis that does not begin at zero makes small changes look large, so the picture says so
    # itself.
    starts = lived.starts(data(up.low)) if up.low > 1e-9 else ""
    is_narrow = canvas.is_narrow(width)
    foot = 52 + (3 if starts and is_narrow else 2) * LINE_PX + below
    plot = Plot(
        Axis(0, right, canvas.nice(right / canvas.marks_over(width))),
        up,
        width=width,
        height=canvas.HEIGHT + foot - 30,
        foot=foot,
    )
    placed = [(plot.x(p.x), p) for p in lived.points]
    high = _steps([(x, plot.y(p.high)) for x, p in placed])
    low = _steps([(x, plot.y(p.low)) for x, p in placed])
    drawn = [
        *plot.lines(data),
        # Along the upper limit and back along the lower one, so that the outline does not cross
        # itself.
        canvas.polygon([*high, *reversed(low)], "chart-band"),
        canvas.polyline(_steps([(x, plot.y(p.y)) for x, p in placed]), "chart-line"),
        canvas.polyline(
            [(plot.x(x), plot.y(y)) for x, y in lived.fit if y >= up.low and x <= right],
            "chart-line chart-line-2 chart-dashed",
        ),
        *plot.feet(_plain, name=lived.across),
        *_risk(plot, lived),
        *canvas.key(names, y=plot.height - below + 12, width=width),
    ]
    if starts:
        inside, under = (plot.left + 12, plot.floor - 8), (EDGE_PX, plot.floor + 54 + 2 * LINE_PX)
        at = under if is_narrow else inside
        drawn += [_broken(plot), canvas.text(*at, starts, kind="chart-quiet")]
    return canvas.picture(called, drawn, height=plot.height, width=width)


def _lived_key(lived: Lived) -> list[tuple[str, str]]:
    kinds = ("chart-mark chart-mark-1", "chart-band", "chart-mark chart-mark-2")
    rows = list(zip(kinds, lived.key, strict=True))
    return rows if lived.fit else rows[:2]


def _risk(plot: Plot, lived: Lived) -> list[SafeString]:
    """Write the number at risk under the marks of the axis, as many as have room."""
    y = plot.floor + 54
    drawn = [canvas.text(plot.left, y, lived.at_risk_name, kind="chart-quiet")]
    last = -1e9
    for x, count in lived.at_risk:
        here = plot.x(x)
        # Numbers that overlap cannot be read; the table has every one.
        if here - last < 10 + canvas.LETTER_PX * len(str(count)):
            continue
        drawn.append(canvas.text(here, y + LINE_PX, str(count), "middle"))
        last = here
    return drawn


def _broken(plot: Plot) -> SafeString:
    """Draw a kink at the foot of an axis that does not begin at zero."""
    x, y = plot.left, plot.floor
    kink = [(x, y), (x - 5, y - 3), (x + 5, y - 7), (x, y - 10)]
    return canvas.polyline(kink, "chart-line chart-kink")


@dataclass(frozen=True, slots=True)
class Line:
    """A named curve through (x, y)."""

    name: str
    points: Sequence[tuple[float, float]]
    stepped: bool = True


def curves(
    called: Title,
    lines: Sequence[Line],
    data: Mark,
    *,
    across: str,
    mark_across: Mark | None = None,
    width: float = WIDTH,
) -> SafeString:
    """Draw up to six named shares that rise or fall over a span, on one axis from zero."""
    if len(lines) > LINES_MAX:
        raise ValueError("a picture of curves holds at most six")
    every = [point for line in lines for point in line.points]
    right = max((x for x, _y in every), default=1.0) or 1.0
    most = max((y for _x, y in every), default=1.0)
    names = [(f"chart-mark chart-mark-{n + 1}", line.name) for n, line in enumerate(lines)]
    below = canvas.key_height([line.name for line in lines], width=width)
    plot = Plot(
        Axis(0, right, canvas.nice(right / canvas.marks_over(width))),
        Axis.over(0, most),
        width=width,
        height=canvas.HEIGHT + below,
        foot=48 + below,
    )
    drawn = [*plot.lines(data), *plot.feet(mark_across or _plain, name=across)]
    for number, line in enumerate(lines):
        placed = [(plot.x(x), plot.y(y)) for x, y in line.points]
        # Told apart by dashes as well: colour alone fails for many eyes and on every black printer.
        kind = f"chart-line chart-line-{number + 1} chart-dash-{number + 1}"
        drawn.append(canvas.polyline(_steps(placed) if line.stepped else placed, kind))
    drawn += canvas.key(names, y=plot.height - below + 12, width=width)
    return canvas.picture(called, drawn, height=plot.height, width=width)


@dataclass(frozen=True, slots=True, kw_only=True)
class FanMonth:
    """A month to come: what is expected, the inner limits and the outer ones."""

    label: str
    expected: float
    inner: tuple[float, float]
    outer: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fan:
    """Counts of months past and the fan of those to come; `key` names all four marks."""

    past: Sequence[tuple[str, int]]
    ahead: Sequence[FanMonth]
    key: tuple[str, str, str, str]


def fan(called: Title, shown: Fan, *, width: float = WIDTH) -> SafeString:
    """Draw past counts as bars, then what is expected with its two bands."""
    count = max(1, len(shown.past) + len(shown.ahead))
    most = max([*(n for _label, n in shown.past), *(m.outer[1] for m in shown.ahead)], default=1)
    kinds = ("chart-mark chart-mark-4", "chart-mark chart-mark-1", "chart-inner", "chart-band")
    below = canvas.key_height(shown.key, width=width)
    plot = Plot(
        Axis(0, count, 1),
        Axis.over(0, most, step_min=1),
        width=width,
        height=canvas.HEIGHT + below,
        foot=30 + below,
    )
    first = len(shown.past)
    drawn = plot.lines(_plain)
    drawn += _past(plot, shown.past)
    if shown.ahead:
        at = [plot.x(first + n + 0.5) for n in range(len(shown.ahead))]
        # The outer band first: SVG has no depth, and what is drawn later lies on top.
        for kind, limits in (("chart-band", "outer"), ("chart-inner", "inner")):
            pairs = [getattr(month, limits) for month in shown.ahead]
            top = [(x, plot.y(high)) for x, (_low, high) in zip(at, pairs, strict=True)]
            bottom = [(x, plot.y(low)) for x, (low, _high) in zip(at, pairs, strict=True)]
            drawn.append(canvas.polygon([*top, *reversed(bottom)], kind))
        middle = [(x, plot.y(m.expected)) for x, m in zip(at, shown.ahead, strict=True)]
        drawn.append(canvas.polyline(middle, "chart-line"))
        for (x, y), month in zip(middle, shown.ahead, strict=True):
            data = f"{month.label}: {month.expected:.1f} ({month.outer[0]:g} – {month.outer[1]:g})"
            drawn.append(canvas.dot(x, y, "chart-mark chart-mark-1", data, radius=3.5))
    drawn += _month_feet(plot, [label for label, _n in shown.past] + [m.label for m in shown.ahead])
    names = list(zip(kinds, shown.key, strict=True))
    drawn += canvas.key(names, y=plot.height - below + 12, width=width)
    return canvas.picture(called, drawn, height=plot.height, width=width)


def _past(plot: Plot, past: Sequence[tuple[str, int]]) -> list[SafeString]:
    slot = plot.x(1) - plot.x(0)
    width = min(26.0, slot * 0.7)
    return [
        canvas.rect(
            (plot.x(n + 0.5) - width / 2, plot.y(count), width, plot.floor - plot.y(count)),
            "chart-mark chart-mark-4",
            f"{label}: {count}",
        )
        for n, (label, count) in enumerate(past)
        if count
    ]


def _month_feet(plot: Plot, labels: Sequence[str]) -> list[SafeString]:
    slot = (plot.width - plot.left - plot.right) / max(1, len(labels))
    # Division rounded up, and 64 px are the room that a label such as 2026-10 takes.
    every = max(1, -int(-64 // slot))
    return [
        canvas.text(plot.x(n + 0.5), plot.floor + 18, label, "middle")
        for n, label in enumerate(labels)
        if n % every == 0
    ]


def _steps(placed: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    stepped = list(placed[:1])
    for before, here in itertools.pairwise(placed):
        # The curve is flat between failures and falls at each: a slanting line would say otherwise.
        stepped += [(here[0], before[1]), here]
    return stepped


def smooth(
    share: Callable[[float], float], right: float, *, parts: int = 60
) -> list[tuple[float, float]]:
    """Return a function from 0 to `right` as a row of points."""
    return [(right * n / parts, share(right * n / parts)) for n in range(parts + 1)]


def _plain(value: float) -> str:
    return f"{value:g}"
