"""The picture of the story's loop: stations around a circle, as data for the template."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from returns.story.queries.stations import Way

CENTRE: Final = 120
RADIUS: Final = 88

# A sign for each kind of station, drawn around 0 0 in a square of about 20.
SIGNS: Final[dict[str, str]] = {
    "home": "M-9 0L0-8 9 0M-6-2V8H6V-2",
    "post": "M-9-6H9V7H-9ZM-9-6L0 2 9-6",
    "scale": "M-8-7H8M0-7V-2M-6-2H6L9 7H-9Z",
    "look": "M-8-2a6 6 0 1 0 12 0a6 6 0 1 0-12 0M2 3L8 9",
    "bench": "M9-9L1-1M-1-3L3 1-5 9-9 5Z",
    "apart": "M-9-5H-3V5H-9ZM3-5H9V5H3ZM0-8V-5M0-1V1M0 5V8",
    "flake": "M-8 3L-4-1-1 3-5 7ZM2 6L5 1 9 4 6 8ZM-2-6L2-8 6-5 1-2Z",
    "loop": "M-9 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0M1 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0M-1-1Q0-3 1-1",
    "fork": "M0 9V1L-7-7M0 1L7-7",
    "waste": "M-7-5H7M-5-5L-4 8H4L5-5M-2-8H2",
    "asked": "M-9-7H9V4H-1L-5 8V4H-9Z",
    "ended": "M-7-7L7 7M-7 7L7-7",
    "rest": "M-5-7V7M5-7V7",
    "shelf": "M-8-4L0-8 8-4V5L0 9-8 5ZM-8-4L0 0 8-4M0 0V9",
}

# The start page's picture: posted, mended, ground, new again; x, y, sign.
PROMISE: Final = [
    (180, -10, SIGNS["home"]),
    (320, 130, SIGNS["post"]),
    (180, 270, SIGNS["bench"]),
    (40, 130, SIGNS["flake"]),
]


@dataclass(frozen=True, slots=True)
class Stop:
    """A station of the loop: where it stands in the picture, its sign, how far the story is."""

    x: int
    y: int
    sign: str
    stage: str


@dataclass(frozen=True, slots=True)
class Picture:
    """The stops in order, and the arc from the first to the present one as SVG path data."""

    stops: tuple[Stop, ...]
    gone: str


def picture(way: Way) -> Picture:
    """The stations around a circle in a picture of 240 by 240, clockwise, the first at the top."""
    stops = tuple(
        Stop(*_point(index, len(way.stations)), SIGNS[station.key], _stage(index, way.at))
        for index, station in enumerate(way.stations)
    )
    first, last = stops[0], stops[way.at]
    # SVG's large-arc flag: past half of the circle, else the path takes the short way back (SVG 2,
    # 9.3.8).
    large = int(way.at * 2 > len(stops))
    arc = f"M{first.x} {first.y}A{RADIUS} {RADIUS} 0 {large} 1 {last.x} {last.y}"
    return Picture(stops, arc if way.at else "")


def _point(index: int, of: int) -> tuple[int, int]:
    # A quarter turn back, so that the first is at the top; y grows downwards, so the rest goes
    # clockwise.
    angle = math.tau * index / of - math.tau / 4
    return round(CENTRE + RADIUS * math.cos(angle)), round(CENTRE + RADIUS * math.sin(angle))


def _stage(index: int, at: int) -> str:
    if index == at:
        return "here"
    return "done" if index < at else "ahead"
