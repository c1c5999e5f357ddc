"""The drawing of a frame whose parts can be tapped, as data for the template.

Seen from the wearer's side, so that left is left. Hinge and screw are too small for a thumb in
their place; each side has a loupe in which they are drawn large. Only the left half is written
down, the right one is its mirror image.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Final

from returns.models.catalogue import ComponentKey

WIDTH: Final = 360
VIEW_BOX: Final = f"0 0 {WIDTH} 292"

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


_RIM = (
    "M168 64 C152 42 92 42 72 54 L54 56 Q47 57 47 63 L47 77 Q47 82 52 82 L62 83 "
    "C62 114 80 140 114 140 C146 140 160 124 166 102 C169 92 171 76 168 64 Z"
)
_GLASS = (
    "M155 66 C140 54 94 54 78 63 C73 68 73 84 75 96 C79 117 94 128 115 128 "
    "C136 128 148 117 153 100 C156 90 158 76 155 66 Z"
)
_RIM_SHINE = "M76 59 C94 49 138 48 157 60"
_LENS = Shape(
    body=_GLASS,
    tick=(115, 92),
    lines="M92 110 L124 72 M104 114 L130 84",
)
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

# In the order in which they are painted: what is nearer comes later.
SHAPES: Final[dict[str, Shape]] = {
    ComponentKey.FRONT: Shape(
        body=f"{_RIM} {_GLASS} {mirror(_RIM)} {mirror(_GLASS)}",
        tick=(68, 124),
        lines=f"{_RIM_SHINE} {mirror(_RIM_SHINE)}",
    ),
    ComponentKey.BRIDGE: Shape(
        body="M164 60 C172 52 188 52 196 60 L196 86 C190 68 170 68 164 86 Z",
        tick=(180, 62),
        hit="M158 44 L202 44 L204 96 L156 96 Z",
        lines="M172 60 C177 58 183 58 188 60",
    ),
    ComponentKey.LENS_LEFT: _LENS,
    ComponentKey.LENS_RIGHT: _LENS.mirrored(),
    ComponentKey.ARM_LEFT: _ARM,
    ComponentKey.ARM_RIGHT: _ARM.mirrored(),
    ComponentKey.HINGE_LEFT: _HINGE,
    ComponentKey.HINGE_RIGHT: _HINGE.mirrored(),
    ComponentKey.SCREW_LEFT: _SCREW,
    ComponentKey.SCREW_RIGHT: _SCREW.mirrored(),
}
