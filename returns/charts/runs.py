"""A run chart: single values in the order of their making, with their mean and limits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import ceil, inf

from django.utils.safestring import SafeString

from returns.charts import canvas
from returns.charts.canvas import EDGE_PX, LINE_PX, WIDTH, Axis, Plot, Title


@dataclass(frozen=True, slots=True)
class Run:
    """A value by name; `outside` where it lies beyond the limits."""

    label: str
    value: float
    outside: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Runs:
    """Values with mean and limits, and the words of the lines: mean, upper, lower, the axis.

    `most` is what no value can exceed, and `least` what none can fall below: the axis ends there.
    """

    runs: Sequence[Run]
    mean: float
    low: float
    high: float
    most: float
    least: float = -inf
    names: tuple[str, str, str]
    starts: Callable[[str], str]


def runs(
    called: Title, shown: Runs, data: Callable[[float], str], *, width: float = WIDTH
) -> SafeString:
    """Draw dots on a line; one outside the limits is drawn apart and says so.

    The lines have their names behind them, or under the picture where it is narrow.
    """
    is_narrow = canvas.is_narrow(width)
    names_px = LINE_PX if is_narrow else 0.0
    values = [run.value for run in shown.runs]
    low, high = min([shown.low, *values]), max([shown.high, *values])
    # Equal values have no spread, and an axis of no height divides by zero.
    room = (high - low or 0.01) * 0.12
    plot = Plot(
        Axis(0, max(1, len(values)), 1),
        # A yield cannot exceed 1, and an axis beyond it would suggest that it can.
        Axis.over(max(low - room, shown.least), min(high + room, shown.most), marks=4),
        width=width,
        height=canvas.HEIGHT + names_px,
        foot=44 + names_px,
        right=14.0 if is_narrow else 130.0,
    )
    drawn = plot.lines(data)
    lines = zip((shown.mean, shown.high, shown.low), shown.names, strict=True)
    end = width - plot.right
    for number, (value, name) in enumerate(lines):
        kind = "chart-line chart-mean" if number == 0 else "chart-limit"
        y = plot.y(value)
        drawn.append(canvas.rule((plot.left, y, end, y), kind))
        if not is_narrow:
            drawn.append(canvas.text(end + 8, y + 4, name))
    placed = [(plot.x(n + 0.5), plot.y(value)) for n, value in enumerate(values)]
    drawn.append(canvas.polyline(placed, "chart-line chart-thin"))
    for (x, y), run in zip(placed, shown.runs, strict=True):
        kind = "chart-mark chart-mark-out" if run.outside else "chart-mark chart-mark-1"
        drawn.append(
            canvas.dot(
                x, y, kind, f"{run.label}: {data(run.value)}", radius=6 if run.outside else 4
            )
        )
    feet_max = 6 if is_narrow else 12
    drawn += [
        canvas.text(plot.x(n + 0.5), plot.floor + 18, str(n + 1), "middle")
        for n in range(0, len(values), max(1, ceil(len(values) / feet_max)))
    ]
    starts, below = shown.starts(data(plot.up.low)), plot.floor + 38
    if is_narrow:
        drawn.append(canvas.text(EDGE_PX, below, " · ".join(shown.names)))
        drawn.append(canvas.text(EDGE_PX, below + names_px, starts, kind="chart-quiet"))
    else:
        drawn.append(canvas.text(plot.left, below, starts, kind="chart-quiet"))
    return canvas.picture(called, drawn, height=plot.height, width=width)
