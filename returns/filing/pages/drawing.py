"""The drawing of a frame whose parts can be tapped, as data for the template.

Seen from the wearer's side, so that left is left. Hinge and screw are too small for a thumb in
their place; each side has a loupe in which they are drawn large. Only the left half is written
down, the right one is its mirror image. The front is drawn once for each shape of rims.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from returns.models.catalogue import ComponentKey, RimShape

WIDTH: Final = 360
VIEW_BOX: Final = f"0 0 {WIDTH} 292"

# Relative commands or decimals would pass by this pattern; the paths below have neither.
_POINT: Final = re.compile(r"(\d+) (\d+)")


@dataclass(frozen=True, slots=True)
class Shape:
    """One part: its outline, a wider outline for a thumb, lines on it, and where a tick goes."""

    body: str
    tick: tuple[int, int]
    hit: str = ""
    lines: str = ""

    def mirrored(self) -> Shape:
        """The same part on the other side."""
        x, y = self.tick
        return Shape(mirror(self.body), (WIDTH - x, y), mirror(self.hit), mirror(self.lines))


def mirror(path: str) -> str:
    """Path data turned over left to right. Points are whole and absolute, so this is exact."""
    return _POINT.sub(lambda point: f"{WIDTH - int(point[1])} {point[2]}", path)


@dataclass(frozen=True, slots=True)
class Rim:
    """The left half of a front: rim with its end piece, opening, light on it; the whole bridge."""

    outline: str
    glass: str
    shine: str
    bridge: str

    def shapes(self) -> dict[str, Shape]:
        """The parts that differ from one shape of rim to the next."""
        lens = Shape(self.glass, tick=(115, 92), lines="M92 110 L124 72 M104 114 L130 84")
        half = f"{self.outline} {self.glass}"
        return {
            ComponentKey.FRONT: Shape(
                body=f"{half} {mirror(half)}",
                tick=(68, 124),
                lines=f"{self.shine} {mirror(self.shine)}",
            ),
            ComponentKey.BRIDGE: Shape(
                body=self.bridge,
                tick=(180, 62),
                hit="M158 44 L202 44 L204 96 L156 96 Z",
                lines="M172 64 C177 62 183 62 188 64",
            ),
            ComponentKey.LENS_LEFT: lens,
            ComponentKey.LENS_RIGHT: lens.mirrored(),
        }


# The end piece, the hinge's place and the lower edge are alike in all, so that arms, loupes and a
# finger's aim fit each.
RIMS: Final[dict[str, Rim]] = {
    RimShape.ROUND: Rim(
        outline=(
            "M113 44 C140 44 161 65 161 92 C161 119 140 140 113 140 C86 140 66 119 65 92 "
            "L65 84 L52 82 Q47 82 47 77 L47 63 Q47 57 54 56 L80 56 C89 48 100 44 113 44 Z"
        ),
        glass=(
            "M113 54 C134 54 151 71 151 92 C151 113 134 130 113 130 C92 130 75 113 75 92 "
            "C75 71 92 54 113 54 Z"
        ),
        shine="M83 61 C92 53 102 49 113 49 C122 49 131 52 138 57",
        bridge="M152 68 C166 55 194 55 208 68 L204 82 C194 70 166 70 156 82 Z",
    ),
    RimShape.PANTO: Rim(
        outline=(
            "M168 64 C152 42 92 42 72 54 L54 56 Q47 57 47 63 L47 77 Q47 82 52 82 L62 83 "
            "C62 114 80 140 114 140 C146 140 160 124 166 102 C169 92 171 76 168 64 Z"
        ),
        glass=(
            "M155 66 C140 54 94 54 78 63 C73 68 73 84 75 96 C79 117 94 128 115 128 "
            "C136 128 148 117 153 100 C156 90 158 76 155 66 Z"
        ),
        shine="M76 59 C94 49 138 48 157 60",
        bridge="M164 60 C172 52 188 52 196 60 L196 86 C190 68 170 68 164 86 Z",
    ),
    RimShape.RECTANGULAR: Rim(
        outline=(
            "M66 50 L154 50 Q168 50 168 64 L168 118 Q168 140 146 140 L84 140 Q62 140 62 118 "
            "L62 83 L52 82 Q47 82 47 77 L47 63 Q47 57 54 55 L58 52 Q61 50 66 50 Z"
        ),
        glass=(
            "M82 61 L146 61 Q157 61 157 72 L157 114 Q157 129 142 129 L88 129 Q73 129 73 114 "
            "L73 70 Q73 61 82 61 Z"
        ),
        shine="M72 56 L154 56",
        bridge="M166 60 C173 55 187 55 194 60 L194 84 C188 69 172 69 166 84 Z",
    ),
}
_ARM = Shape(
    body=(
        "M47 62 C34 58 27 64 25 78 L13 168 C10 190 6 206 4 224 C4 236 19 238 22 228 "
        "C26 210 30 192 32 170 L41 88 C42 82 44 80 47 80 Z"
    ),
    tick=(23, 150),
    hit="M47 58 L22 58 L2 168 L0 240 L28 240 L46 100 Z",
    lines="M32 82 L21 170 M15 206 L13 222",
)
KNUCKLES: Final = (
    "M98 212 L148 212 Q152 212 152 216 L152 250 Q152 254 148 254 L98 254 Q94 254 94 250 "
    "L94 244 Q94 240 98 240 L124 240 L124 226 L98 226 Q94 226 94 222 L94 216 Q94 212 98 212 Z"
)
TONGUE: Final = (
    "M72 214 L88 214 L88 227 L115 227 Q119 227 119 231 L119 235 Q119 239 115 239 L88 239 "
    "L88 252 L72 252 Q68 252 68 248 L68 218 Q68 214 72 214 Z"
)
_HINGE = Shape(
    body=f"{KNUCKLES} {TONGUE}",
    tick=(142, 233),
    hit="M66 210 L156 210 L156 258 L66 258 Z M32 58 L62 58 L62 88 L32 88 Z",
    lines="M138 218 L138 248 M76 220 L76 246",
)
_SCREW = Shape(
    body=(
        "M96 182 L118 182 Q120 182 120 185 L120 191 L111 191 L111 209 L103 209 L103 191 L94 191 "
        "L94 185 Q94 182 96 182 Z"
    ),
    tick=(132, 192),
    hit="M88 176 L142 176 L142 209 L88 209 Z",
    lines=(
        "M101 196 L113 194 M101 201 L113 199 M101 206 L113 204 M104 182 L104 187 M110 182 L110 187"
    ),
)

# What is the same whatever the rims' shape.
_SIDES: Final[dict[str, Shape]] = {
    ComponentKey.ARM_LEFT: _ARM,
    ComponentKey.ARM_RIGHT: _ARM.mirrored(),
    ComponentKey.HINGE_LEFT: _HINGE,
    ComponentKey.HINGE_RIGHT: _HINGE.mirrored(),
    ComponentKey.SCREW_LEFT: _SCREW,
    ComponentKey.SCREW_RIGHT: _SCREW.mirrored(),
}


def shapes(rim: str = RimShape.PANTO) -> dict[str, Shape]:
    """Every part of a frame, in the order in which they are painted: what is nearer comes later."""
    return RIMS[rim].shapes() | _SIDES


def variants() -> Iterator[tuple[str, list[tuple[str, Shape]]]]:
    """Each part with its shape for each rim; rim and one shape only where all are alike."""
    by_rim = {str(rim): one.shapes() for rim, one in RIMS.items()}
    for key in RIMS[RimShape.PANTO].shapes():
        yield key, [(rim, parts[key]) for rim, parts in by_rim.items()]
    for key, shape in _SIDES.items():
        yield key, [("", shape)]
