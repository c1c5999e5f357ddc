"""Pictures drawn on the server as SVG: the page and the paper show the same one.

A picture says nothing that the table beside it does not say. Colours come as attributes, so that
paper has them too; on a page the style sheet replaces them by the theme's own. Nothing here is
styled inline, which the content security policy would refuse.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.text import slugify

WIDTH = 640
HEIGHT = 260
_LEFT, _RIGHT, _TOP, _BOTTOM = 44, 10, 14, 38
_PAPER = ("#2a6144", "#1d5a75", "#b07a1e", "#8a8578")
_INK, _LINE = "#22282a", "#cfcabd"
_LABEL_WIDTH_MIN = 56
_SERIES_MAX = len(_PAPER)


@dataclass(frozen=True, slots=True)
class Series:
    """One named row of values, as many as the chart has labels."""

    name: str
    values: Sequence[float]


@dataclass(frozen=True, slots=True)
class Title:
    """What a picture is called and what it shows, in words, for those who do not see it."""

    name: str
    text: str


def bars(title: Title, labels: Sequence[str], series: Sequence[Series]) -> SafeString:
    """Upright bars in groups, one group a label, at most four series, no value below zero."""
    _refuse(labels, series)
    scale = _Scale.up_to(max((max(row.values, default=0) for row in series), default=0))
    slot = (WIDTH - _LEFT - _RIGHT) / max(1, len(labels))
    width = min(34.0, slot * 0.8 / max(1, len(series)))
    marks = [
        _bar(
            _LEFT + slot * (index + 0.5) + width * (number - len(series) / 2),
            scale.y(value),
            width,
            (number, f"{labels[index]}, {row.name}: {value:g}"),
        )
        for number, row in enumerate(series)
        for index, value in enumerate(row.values)
        if value > 0
    ]
    every = max(1, ceil(_LABEL_WIDTH_MIN / slot))
    names = [
        _text(_LEFT + slot * (index + 0.5), HEIGHT - _BOTTOM + 16, label, "middle")
        for index, label in enumerate(labels)
        if index % every == 0
    ]
    keys = _key(series) if len(series) > 1 else []
    return _picture(title, [*scale.lines(), *marks, *names, *keys], HEIGHT)


def lying_bars(
    title: Title, labels: Sequence[str], values: Sequence[float], unit: str
) -> SafeString:
    """Bars from left to right with their value behind them; a value below zero has no bar."""
    _refuse(labels, [Series("", values)])
    top = max(max(values, default=0), 1e-9)
    height = 12 + 30 * len(labels)
    room = WIDTH - 330
    drawn: list[SafeString] = []
    for index, (label, value) in enumerate(zip(labels, values, strict=True)):
        y = 8 + 30 * index
        length = max(0.0, value) / top * room
        drawn.append(_text(170, y + 15, label, "end"))
        drawn.append(_rect((180, y, max(length, 0.5), 20), 0, f"{label}: {value:g} {unit}"))
        drawn.append(_text(188 + length, y + 15, f"{value:g} {unit}", "start"))
    return _picture(title, drawn, height)


def heat(
    title: Title, rows: Sequence[str], columns: Sequence[str], counts: Sequence[Sequence[int]]
) -> SafeString:
    """A table of counts as shades; every cell also says its count."""
    if len(counts) != len(rows) or any(len(line) != len(columns) for line in counts):
        raise ValueError("a heat table needs one count for every row and column")
    left, top, tall = 130, 112, 30
    wide = (WIDTH - left - _RIGHT) / max(1, len(columns))
    most = max((max(line, default=0) for line in counts), default=0) or 1
    drawn = [
        format_html(
            '<text class="chart-text" fill="{}" font-size="12" text-anchor="start" '
            'transform="translate({} {}) rotate(-35)">{}</text>',
            _INK,
            f"{left + wide * (index + 0.4):.1f}",
            top - 8,
            name,
        )
        for index, name in enumerate(columns)
    ]
    for r, name in enumerate(rows):
        drawn.append(_text(left - 8, top + tall * r + 19, name, "end"))
        for c, count in enumerate(counts[r]):
            box = (left + wide * c, top + tall * r, wide - 2, tall - 2)
            drawn.append(_cell(box, count, count / most, f"{name}, {columns[c]}: {count}"))
    return _picture(title, drawn, top + tall * len(rows) + 8)


@dataclass(frozen=True, slots=True)
class Point:
    """A point of a curve with its limits."""

    x: float
    y: float
    low: float
    high: float


def curve(
    title: Title, points: Sequence[Point], *, across: str, stepped: bool = True
) -> SafeString:
    """A falling or rising share (0..1) over a span, with the band of its limits.

    `across` names the horizontal axis. Stepped curves keep their value up to the next point.
    """
    right = max((point.x for point in points), default=1.0) or 1.0
    scale = _Scale(1.0, 0.25, percent=True)

    def x(value: float) -> float:
        return _LEFT + value / right * (WIDTH - _LEFT - _RIGHT)

    def path(values: Iterable[float]) -> list[tuple[float, float]]:
        placed = [(x(p.x), scale.y(v)) for p, v in zip(points, values, strict=True)]
        return _steps(placed) if stepped else placed

    high, low = path(p.high for p in points), path(p.low for p in points)
    band = format_html(
        '<polygon class="chart-band" fill="#9db9a6" fill-opacity="0.5" points="{}"/>',
        _points([*high, *reversed(low)]),
    )
    line = format_html(
        '<polyline class="chart-line" fill="none" stroke="{}" stroke-width="2.5" points="{}"/>',
        _PAPER[0],
        _points(path(p.y for p in points)),
    )
    step = _nice(right / 6)
    ticks = [
        _text(x(step * n), HEIGHT - _BOTTOM + 16, f"{step * n:g}", "middle")
        for n in range(floor(right / step) + 1)
    ]
    name = _text(WIDTH - _RIGHT, HEIGHT - 4, across, "end")
    return _picture(title, [*scale.lines(), band, line, *ticks, name], HEIGHT)


@dataclass(frozen=True, slots=True)
class _Scale:
    top: float
    step: float
    percent: bool = False

    @classmethod
    def up_to(cls, most: float) -> _Scale:
        """Counts: whole steps, and a top at or above the largest."""
        step = max(1.0, _nice(most / 4)) if most > 0 else 1.0
        return cls(max(step, ceil(most / step) * step), step)

    def y(self, value: float) -> float:
        return HEIGHT - _BOTTOM - value / self.top * (HEIGHT - _BOTTOM - _TOP)

    def lines(self) -> list[SafeString]:
        count = round(self.top / self.step)
        return [line for n in range(count + 1) for line in self._line(n * self.step)]

    def _line(self, value: float) -> tuple[SafeString, SafeString]:
        y = self.y(value)
        label = f"{value * 100:g} %" if self.percent else f"{value:g}"
        rule = format_html(
            '<line class="chart-rule" stroke="{}" x1="{}" x2="{}" y1="{}" y2="{}"/>',
            _LINE,
            _LEFT,
            WIDTH - _RIGHT,
            f"{y:.1f}",
            f"{y:.1f}",
        )
        return rule, _text(_LEFT - 6, y + 4, label, "end")


def _nice(step: float) -> float:
    """The next of 1, 2, 5 times a power of ten at or above a step."""
    if step <= 0:
        return 1.0
    power = 10.0 ** floor(log10(step))
    return next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= step - 1e-12)


def _refuse(labels: Sequence[str], series: Sequence[Series]) -> None:
    if len(series) > _SERIES_MAX or any(len(row.values) != len(labels) for row in series):
        raise ValueError("a chart needs at most four series and one value for every label")


def _bar(x: float, y: float, width: float, told: tuple[int, str]) -> SafeString:
    return _rect((x, y, width, HEIGHT - _BOTTOM - y), *told)


def _rect(box: tuple[float, float, float, float], number: int, told: str) -> SafeString:
    x, y, width, height = (f"{side:.1f}" for side in box)
    return format_html(
        '<rect class="chart-mark chart-mark-{}" fill="{}" x="{}" y="{}" width="{}" height="{}">'
        "<title>{}</title></rect>",
        number + 1,
        _PAPER[number],
        x,
        y,
        width,
        height,
        told,
    )


def _cell(
    box: tuple[float, float, float, float], count: int, share: float, told: str
) -> SafeString:
    """Five shades; the number stays readable on each."""
    shade = 0 if count == 0 else min(4, 1 + floor(share * 3.999))
    fills = ("#f7f5f0", "#dfeadf", "#b9d3bf", "#8fb89b", "#5f9672")
    x, y, width, height = box
    number = _text(x + width / 2, y + height / 2 + 4, str(count) if count else "·", "middle")
    return format_html(
        '<g><title>{}</title><rect class="chart-cell chart-shade-{}" fill="{}" x="{}" y="{}" '
        'width="{}" height="{}"/>{}</g>',
        told,
        shade,
        fills[shade],
        f"{x:.1f}",
        f"{y:.1f}",
        f"{width:.1f}",
        f"{height:.1f}",
        number,
    )


def _text(x: float, y: float, words: str, anchor: str) -> SafeString:
    return format_html(
        '<text class="chart-text" fill="{}" font-size="12" text-anchor="{}" x="{}" y="{}">{}'
        "</text>",
        _INK,
        anchor,
        f"{x:.1f}",
        f"{y:.1f}",
        words,
    )


def _key(series: Sequence[Series]) -> list[SafeString]:
    """What each colour stands for, under the labels."""
    drawn: list[SafeString] = []
    for number, row in enumerate(series):
        x = _LEFT + number * 140
        drawn.append(_rect((x, HEIGHT - 12, 11, 11), number, row.name))
        drawn.append(_text(x + 17, HEIGHT - 2, row.name, "start"))
    return drawn


def _steps(placed: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    stepped = list(placed[:1])
    for before, here in itertools.pairwise(placed):
        stepped += [(here[0], before[1]), here]
    return stepped


def _points(placed: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in placed)


def _picture(title: Title, drawn: Sequence[SafeString], height: float) -> SafeString:
    name = f"chart-{slugify(title.name) or 'picture'}"
    return format_html(
        '<svg class="chart-svg" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" role="img" '
        'aria-labelledby="{}-t {}-d" font-family="sans-serif"><title id="{}-t">{}</title>'
        '<desc id="{}-d">{}</desc>{}</svg>',
        WIDTH,
        f"{height:.0f}",
        name,
        name,
        name,
        title.name,
        name,
        title.text,
        format_html_join("", "{}", ((piece,) for piece in drawn)),
    )
