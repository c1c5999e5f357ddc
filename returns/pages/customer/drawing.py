"""Our own line drawings as data: the frame whose parts can be tapped, and the loop of the story."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from returns.models.catalogue import ComponentKey

VIEW_BOX: Final = "0 0 360 214"

# Seen from the wearer's side, so that left is left. Small parts are drawn large and apart from
# their place, so that a thumb finds them.
SHAPES: Final[dict[str, str]] = {
    ComponentKey.ARM_LEFT: "M56 92 L70 92 L60 130 Q52 168 40 206 L22 200 Q38 166 46 130 Z",
    ComponentKey.ARM_RIGHT: "M290 92 L304 92 L314 130 Q322 166 338 200 L320 206 Q308 168 300 130 Z",
    ComponentKey.FRONT: (
        "M74 66 Q120 40 168 66 Q176 120 140 136 Q92 140 78 112 Z "
        "M86 74 Q90 108 98 118 Q126 130 146 116 Q160 98 156 76 Q120 58 86 74 Z "
        "M286 66 Q240 40 192 66 Q184 120 220 136 Q268 140 282 112 Z "
        "M274 74 Q270 108 262 118 Q234 130 214 116 Q200 98 204 76 Q240 58 274 74 Z"
    ),
    ComponentKey.LENS_LEFT: "M86 74 Q90 108 98 118 Q126 130 146 116 Q160 98 156 76 Q120 58 86 74 Z",
    ComponentKey.LENS_RIGHT: (
        "M274 74 Q270 108 262 118 Q234 130 214 116 Q200 98 204 76 Q240 58 274 74 Z"
    ),
    ComponentKey.BRIDGE: "M166 62 Q180 52 194 62 L191 88 Q180 76 169 88 Z",
    ComponentKey.HINGE_LEFT: "M48 62 H74 V92 H48 Z",
    ComponentKey.HINGE_RIGHT: "M286 62 H312 V92 H286 Z",
    ComponentKey.SCREW_LEFT: "M46 14 H76 V26 H67 V50 H55 V26 H46 Z",
    ComponentKey.SCREW_RIGHT: "M284 14 H314 V26 H305 V50 H293 V26 H284 Z",
}


@dataclass(frozen=True, slots=True)
class Stop:
    """A station of the loop: where it stands in the picture, and how far the story is."""

    x: int
    y: int
    label_y: int
    number: int
    label: str
    stage: str


def loop(stations: Sequence[object], current: int) -> list[Stop]:
    """The stations around a circle in a picture of 240 by 240, the first at the top."""
    stops = []
    for index, label in enumerate(stations):
        angle = math.tau * index / len(stations) - math.tau / 4
        x, y = round(120 + 84 * math.cos(angle)), round(120 + 84 * math.sin(angle))
        stage = "here" if index == current else "done" if index < current else "ahead"
        stops.append(Stop(x, y, y + 6, index + 1, str(label), stage))
    return stops
