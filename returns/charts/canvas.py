"""What every picture is made of: text, rules, marks, and the axes that they are placed by."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.text import slugify

WIDTH = 560.0
HEIGHT = 270.0
LINE_PX = 17.0
LETTER_PX = 7.2
"""Room for one line of text and one letter of it; the style sheet sets 13 px."""


@dataclass(frozen=True, slots=True)
class Title:
    """What a picture is called and what it shows, in words, for those who do not see it."""

    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Axis:
    """Values from `low` to `high` with a mark every `step`."""

    low: float
    high: float
    step: float

    @classmethod
    def over(cls, low: float, high: float, *, marks: int = 4, step_min: float = 0.0) -> Axis:
        """An axis with round marks that holds both values."""
        step = max(step_min, nice((high - low) / marks)) if high > low else max(step_min, 1.0)
        bottom = floor(low / step + 1e-9) * step
        return cls(bottom, max(bottom + step, ceil(high / step - 1e-9) * step), step)

    @property
    def marks(self) -> list[float]:
        count = floor((self.high - self.low) / self.step + 1e-9)
        return [self.low + n * self.step for n in range(count + 1)]

    def share(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True)
class Plot:
    """Two axes on a frame of a picture; `foot` and `right` leave room for words."""

    across: Axis
    up: Axis
    height: float = HEIGHT
    left: float = 66.0
    right: float = 14.0
    foot: float = 44.0
    top: float = 16.0

    @property
    def floor(self) -> float:
        return self.height - self.foot

    def x(self, value: float) -> float:
        return self.left + self.across.share(value) * (WIDTH - self.left - self.right)

    def y(self, value: float) -> float:
        return self.floor - self.up.share(value) * (self.floor - self.top)

    def lines(self, told: Callable[[float], str]) -> list[SafeString]:
        """A rule at each mark of the upright axis, with its value before it."""
        drawn: list[SafeString] = []
        for mark in self.up.marks:
            y = self.y(mark)
            drawn.append(rule((self.left, y, WIDTH - self.right, y)))
            drawn.append(text(self.left - 8, y + 4, told(mark), "end"))
        return drawn

    def feet(self, told: Callable[[float], str], *, name: str = "") -> list[SafeString]:
        """The value under each mark of the lying axis, and what the axis is of."""
        drawn = [
            text(self.x(mark), self.floor + 18, told(mark), "middle") for mark in self.across.marks
        ]
        if name:
            drawn.append(text(WIDTH - self.right, self.floor + 36, name, "end", "chart-quiet"))
        return drawn


def nice(step: float) -> float:
    """The next of 1, 2, 5 times a power of ten at or above a step."""
    if step <= 0:
        return 1.0
    power = 10.0 ** floor(log10(step))
    return next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= step - 1e-12)


def text(x: float, y: float, words: str, anchor: str = "start", kind: str = "") -> SafeString:
    return format_html(
        '<text class="{}" text-anchor="{}" x="{}" y="{}">{}</text>',
        f"chart-text {kind}".strip(),
        anchor,
        f"{x:.1f}",
        f"{y:.1f}",
        words,
    )


def rule(ends: tuple[float, float, float, float], kind: str = "chart-rule") -> SafeString:
    """A straight line from (x, y) to (x, y)."""
    x1, y1, x2, y2 = (f"{end:.1f}" for end in ends)
    return format_html('<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}"/>', kind, x1, y1, x2, y2)


def rect(box: tuple[float, float, float, float], kind: str, told: str = "") -> SafeString:
    """A box at x, y of a width and a height, with the words that a pointer shows."""
    x, y, width, height = (f"{side:.2f}" for side in box)
    return format_html(
        '<rect class="{}" x="{}" y="{}" width="{}" height="{}">{}</rect>',
        kind,
        x,
        y,
        width,
        height,
        title(told),
    )


def dot(x: float, y: float, kind: str, told: str, *, radius: float = 4.0) -> SafeString:
    return format_html(
        '<circle class="{}" cx="{}" cy="{}" r="{}">{}</circle>',
        kind,
        f"{x:.1f}",
        f"{y:.1f}",
        f"{radius:g}",
        title(told),
    )


def title(told: str) -> SafeString:
    return format_html("<title>{}</title>", told) if told else SafeString("")


def polyline(placed: Iterable[tuple[float, float]], kind: str) -> SafeString:
    return format_html('<polyline class="{}" points="{}"/>', kind, points(placed))


def polygon(placed: Iterable[tuple[float, float]], kind: str) -> SafeString:
    return format_html('<polygon class="{}" points="{}"/>', kind, points(placed))


def points(placed: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in placed)


def key(names: Sequence[tuple[str, str]], *, y: float, left: float = 66.0) -> list[SafeString]:
    """What each mark stands for: pairs of its class and its name, on as many lines as it takes."""
    drawn: list[SafeString] = []
    x = left
    for kind, name in names:
        wide = 26 + LETTER_PX * len(name)
        if x > left and x + wide > WIDTH:
            x, y = left, y + LINE_PX
        drawn.append(rect((x, y - 10, 12, 12), kind))
        drawn.append(text(x + 18, y, name))
        x += wide + 10
    return drawn


def key_height(names: Sequence[str], *, left: float = 66.0) -> float:
    """How much height a key takes."""
    x, lines = left, 1
    for name in names:
        wide = 26 + LETTER_PX * len(name)
        if x > left and x + wide > WIDTH:
            x, lines = left, lines + 1
        x += wide + 10
    return lines * LINE_PX + 6


def picture(
    called: Title, drawn: Iterable[SafeString], *, height: float, width: float = WIDTH
) -> SafeString:
    name = f"chart-{slugify(called.name) or 'picture'}"
    return format_html(
        '<svg class="chart-svg{}" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" '
        'role="img" aria-labelledby="{}-t {}-d"><title id="{}-t">{}</title>'
        '<desc id="{}-d">{}</desc>{}</svg>',
        " chart-wide" if width > WIDTH else "",
        f"{width:.0f}",
        f"{height:.0f}",
        name,
        name,
        name,
        called.name,
        name,
        called.text,
        format_html_join("", "{}", ((piece,) for piece in drawn)),
    )
