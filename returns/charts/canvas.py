"""What every picture is made of: text, rules, marks, and the axes that they are placed by."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString
from django.utils.text import slugify

WIDTH = 560.0
NARROW = 300.0
"""The widths that a chart is drawn in: for a page, and for a phone held upright."""
HEIGHT = 270.0
LEFT_PX = 66.0
EDGE_PX = 8.0
"""Where a plot begins, and where words begin under a narrow one."""
# The server cannot measure text, so it reckons with the mean width of a letter and errs on the
# wide side.
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
        """Return an axis with round marks that holds both values."""
        step = max(step_min, nice((high - low) / marks)) if high > low else max(step_min, 1.0)
        # The tolerance keeps a value that lies on a mark there: 0.3 / 0.1 is a last bit below 3.
        bottom = floor(low / step + 1e-9) * step
        return cls(bottom, max(bottom + step, ceil(high / step - 1e-9) * step), step)

    @property
    def marks(self) -> list[float]:
        # By counting, not by adding up the step: added rounding would lose the last mark.
        count = floor((self.high - self.low) / self.step + 1e-9)
        return [self.low + n * self.step for n in range(count + 1)]

    def share(self, value: float) -> float:
        return (value - self.low) / (self.high - self.low)


@dataclass(frozen=True, slots=True)
class Plot:
    """Two axes on a frame of a picture; `foot` and `right` leave room for words."""

    across: Axis
    up: Axis
    width: float = WIDTH
    height: float = HEIGHT
    right: float = 14.0
    foot: float = 44.0
    top: float = 16.0

    @property
    def left(self) -> float:
        return 60.0 if is_narrow(self.width) else LEFT_PX

    @property
    def floor(self) -> float:
        return self.height - self.foot

    def x(self, value: float) -> float:
        return self.left + self.across.share(value) * (self.width - self.left - self.right)

    def y(self, value: float) -> float:
        # SVG counts down the page: a larger value has a smaller y.
        return self.floor - self.up.share(value) * (self.floor - self.top)

    def lines(self, data: Callable[[float], str]) -> list[SafeString]:
        """Draw a rule at each mark of the upright axis, with its value before it."""
        drawn: list[SafeString] = []
        for mark in self.up.marks:
            y = self.y(mark)
            drawn.append(rule((self.left, y, self.width - self.right, y)))
            drawn.append(text(self.left - 8, y + 4, data(mark), "end"))
        return drawn

    def feet(self, data: Callable[[float], str], *, name: str = "") -> list[SafeString]:
        """Write the value under each mark of the lying axis, and what the axis is of."""
        drawn = [
            text(self.x(mark), self.floor + 18, data(mark), "middle") for mark in self.across.marks
        ]
        if name:
            drawn.append(text(self.width - self.right, self.floor + 36, name, "end", "chart-quiet"))
        return drawn


def is_narrow(width: float) -> bool:
    return width < WIDTH


def marks_over(width: float) -> int:
    """Return how many marks a lying axis has room for."""
    return int(width / 70)


def nice(step: float) -> float:
    """Return the next of 1, 2, 5 times a power of ten at or above a step."""
    if step <= 0:
        return 1.0
    power = 10.0 ** floor(log10(step))
    return next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= step - 1e-12)


def text(x: float, y: float, words: str, anchor: str = "start", kind: str = "") -> SafeString:
    return format_html(
        # Attributes and classes, never `style`: the content security policy refuses inline styles,
        # and a class follows the theme. `format_html` escapes names that people typed.
        '<text class="{}" text-anchor="{}" x="{}" y="{}">{}</text>',
        f"chart-text {kind}".strip(),
        anchor,
        f"{x:.1f}",
        f"{y:.1f}",
        words,
    )


def rule(ends: tuple[float, float, float, float], kind: str = "chart-rule") -> SafeString:
    """Draw a straight line from (x, y) to (x, y)."""
    x1, y1, x2, y2 = (f"{end:.1f}" for end in ends)
    return format_html('<line class="{}" x1="{}" y1="{}" x2="{}" y2="{}"/>', kind, x1, y1, x2, y2)


def rect(box: tuple[float, float, float, float], kind: str, data: str = "") -> SafeString:
    """Draw a box at x, y of a width and a height, with the words that a pointer shows."""
    x, y, width, height = (f"{side:.2f}" for side in box)
    return format_html(
        '<rect class="{}" x="{}" y="{}" width="{}" height="{}">{}</rect>',
        kind,
        x,
        y,
        width,
        height,
        title(data),
    )


def dot(x: float, y: float, kind: str, data: str, *, radius: float = 4.0) -> SafeString:
    return format_html(
        '<circle class="{}" cx="{}" cy="{}" r="{}">{}</circle>',
        kind,
        f"{x:.1f}",
        f"{y:.1f}",
        f"{radius:g}",
        title(data),
    )


def title(data: str) -> SafeString:
    # A title inside a mark is what a pointer shows and a screen reader says; no script is needed
    # for it.
    return format_html("<title>{}</title>", data) if data else SafeString("")


def polyline(placed: Iterable[tuple[float, float]], kind: str) -> SafeString:
    return format_html('<polyline class="{}" points="{}"/>', kind, points(placed))


def polygon(placed: Iterable[tuple[float, float]], kind: str) -> SafeString:
    return format_html('<polygon class="{}" points="{}"/>', kind, points(placed))


def points(placed: Iterable[tuple[float, float]]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in placed)


def key(names: Sequence[tuple[str, str]], *, y: float, width: float = WIDTH) -> list[SafeString]:
    """Draw what each mark stands for: its class and its name, on as many lines as it takes."""
    drawn: list[SafeString] = []
    for (kind, name), (x, line) in zip(names, _places([n for _k, n in names], width), strict=True):
        at = y + line * LINE_PX
        drawn.append(rect((x, at - 10, 12, 12), kind))
        drawn.append(text(x + 18, at, name))
    return drawn


def key_height(names: Sequence[str], *, width: float = WIDTH) -> float:
    """Return how much height a key takes, in px."""
    lines = 1 + max((line for _x, line in _places(names, width)), default=0)
    return lines * LINE_PX + 6


def _places(names: Sequence[str], width: float) -> list[tuple[float, int]]:
    """Return where each name of a key stands: its x and its line."""
    left = EDGE_PX if is_narrow(width) else LEFT_PX
    x, line, found = left, 0, []
    for name in names:
        wide = 26 + LETTER_PX * len(name)
        # A name wider than the sheet stays on its own line: breaking before it would gain nothing.
        if x > left and x + wide > width:
            x, line = left, line + 1
        found.append((x, line))
        x += wide + 10
    return found


def for_screens(draw: Callable[..., SafeString]) -> SafeString:
    """Draw a picture for a page and, with `width`, for a phone; the style sheet shows one."""
    return format_html("{}{}", draw(), draw(width=NARROW))


def picture(
    called: Title, drawn: Iterable[SafeString], *, height: float, width: float = WIDTH
) -> SafeString:
    # Both drawings stand in one page and ids must differ, or a title would be read for the wrong
    # one. A name in a script that `slugify` drops still needs one.
    name = f"chart-{slugify(called.name) or 'picture'}{'-narrow' if is_narrow(width) else ''}"
    return format_html(
        # Width and height only in the viewBox: the style sheet sizes it, and a phone sees it whole.
        '<svg class="chart-svg{}" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {} {}" '
        'role="img" aria-labelledby="{}-t {}-d"><title id="{}-t">{}</title>'
        '<desc id="{}-d">{}</desc>{}</svg>',
        " chart-narrow" if is_narrow(width) else " chart-wide" if width > WIDTH else "",
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
