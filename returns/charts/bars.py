"""Bars: upright in groups by label, or lying with their value behind them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

from django.utils.safestring import SafeString

from returns.charts import canvas
from returns.charts.canvas import EDGE_PX, LETTER_PX, WIDTH, Axis, Plot, Title

SERIES_MAX = 4
_LABEL_PX = 62.0


@dataclass(frozen=True, slots=True)
class Series:
    """One named row of values, as many as the chart has labels."""

    name: str
    values: Sequence[float]


def bars(
    called: Title, labels: Sequence[str], series: Sequence[Series], *, width: float = WIDTH
) -> SafeString:
    """Draw upright bars, a group for each label: at most four series, no value below zero."""
    _refuse(labels, series)
    most = max((max(row.values, default=0) for row in series), default=0)
    names = [(f"chart-mark chart-mark-{n + 1}", row.name) for n, row in enumerate(series)]
    has_key = len(series) > 1
    below = canvas.key_height([row.name for row in series], width=width) if has_key else 0.0
    plot = Plot(
        Axis(0, max(1, len(labels)), 1),
        # Frames are whole: a mark at a half would ask what half a frame is.
        Axis.over(0, most, step_min=1),
        width=width,
        height=canvas.HEIGHT - 20 + below,
        foot=26 + below,
    )
    slot = plot.x(1) - plot.x(0)
    # Labels that would run into each other are left out evenly; the table below has them all.
    every = max(1, ceil(_LABEL_PX / slot))
    feet = [
        canvas.text(plot.x(index + 0.5), plot.floor + 18, label, "middle")
        for index, label in enumerate(labels)
        if index % every == 0
    ]
    drawn = [*plot.lines(_plain), *_marks(plot, labels, series), *feet]
    if has_key:
        drawn += canvas.key(names, y=plot.height - below + 12, width=width)
    return canvas.picture(called, drawn, height=plot.height, width=width)


def _marks(plot: Plot, labels: Sequence[str], series: Sequence[Series]) -> list[SafeString]:
    slot = plot.x(1) - plot.x(0)
    width = min(34.0, slot * 0.8 / max(1, len(series)))
    drawn = []
    for number, row in enumerate(series):
        for index, value in enumerate(row.values):
            # No mark of no height: it would still have a title and be read out.
            if value <= 0:
                continue
            # The group stands over the middle of its slot, half of its bars to each side.
            x = plot.x(index + 0.5) + width * (number - len(series) / 2)
            y = plot.y(value)
            data = f"{labels[index]}, {row.name}: {value:g}"
            kind = f"chart-mark chart-mark-{number + 1}"
            drawn.append(canvas.rect((x, y, max(0.5, width - 1), plot.floor - y), kind, data))
    return drawn


def lying_bars(
    called: Title,
    labels: Sequence[str],
    values: Sequence[float],
    data: Sequence[str],
    *,
    width: float = WIDTH,
) -> SafeString:
    """Draw bars from left to right, their value in words behind; below zero there is no bar.

    A label stands before its bar, or over it where the picture is narrow.
    """
    _refuse(labels, [Series("", values)])
    if len(data) != len(labels):
        raise ValueError("a lying bar needs its value in words")
    # All values may be zero, and the longest bar divides.
    top = max(max(values, default=0), 1e-9)
    over = 20.0 if canvas.is_narrow(width) else 0.0
    left = EDGE_PX if over else 14 + LETTER_PX * max((len(label) for label in labels), default=0)
    # Long names must not squeeze the bars to nothing: past this the picture overflows and stays
    # readable.
    room = max(80.0, width - left - 24 - LETTER_PX * max((len(one) for one in data), default=0))
    drawn: list[SafeString] = []
    for index, label in enumerate(labels):
        y = 6 + (30 + over) * index
        # Half a pixel at least, so that a small mass is seen to be there.
        length = max(0.5, max(0.0, values[index]) / top * room)
        if over:
            drawn.append(canvas.text(left, y + 14, label))
        else:
            drawn.append(canvas.text(left - 8, y + 16, label, "end"))
        box = (left, y + over + 1, length, 20)
        kind = "chart-mark chart-mark-1"
        drawn.append(canvas.rect(box, kind, f"{label}: {data[index]}"))
        drawn.append(canvas.text(left + length + 8, y + over + 16, data[index]))
    return canvas.picture(called, drawn, height=12 + (30 + over) * len(labels), width=width)


def _plain(value: float) -> str:
    return f"{value:g}"


def _refuse(labels: Sequence[str], series: Sequence[Series]) -> None:
    if len(series) > SERIES_MAX or any(len(row.values) != len(labels) for row in series):
        raise ValueError("a chart needs at most four series and one value for every label")
