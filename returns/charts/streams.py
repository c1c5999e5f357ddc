"""Where boxes and ribbons of a flow lie, so that width is mass everywhere. Pure: no words, no SVG.

Each box is as tall as what goes through it. What came from stock enters a box without a ribbon,
what went to stock stays in it: so its ribbons in and the stock used are as tall as its ribbons out
and the stock laid by.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

BOX_PX = 16.0


@dataclass(frozen=True, slots=True)
class Stand:
    """A place in the drawing: its column from the left. Order in a column is order of listing."""

    key: str
    column: int


@dataclass(frozen=True, slots=True)
class Stream:
    """So much mass from one stand to another."""

    source: str
    target: str
    mass_mg: int

    def __post_init__(self) -> None:
        if self.mass_mg < 1 or self.source == self.target:
            raise ValueError("a stream has a mass above 0 mg and leads somewhere else")


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A stand as drawn. An end has ribbons on one side only, and no stock."""

    key: str
    x: float
    y: float
    height: float
    mass_mg: int
    from_stock_mg: int
    to_stock_mg: int
    is_end: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Ribbon:
    """A stream as drawn: from (x1, y1) to (x2, y2), which are its upper edge, `width` tall."""

    stream: Stream
    x1: float
    y1: float
    x2: float
    y2: float
    width: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Room:
    """What there is to draw on; `gap` lies between boxes, `last_gap` between those at the end."""

    width: float
    height: float
    gap: float
    last_gap: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    boxes: tuple[Box, ...]
    ribbons: tuple[Ribbon, ...]
    px_per_mg: float


def laid_out(
    stands: Sequence[Stand], streams: Sequence[Stream], inner: frozenset[str], room: Room
) -> Layout:
    """Place every stand that a stream touches. `inner` stands keep stock; the others are ends."""
    flowing = [s for s in stands if any(s.key in (f.source, f.target) for f in streams)]
    last = max((stand.column for stand in flowing), default=0)
    gaps = {s.column: _gap(s.column, last, flowing, room) for s in flowing}
    # One scale for all, that of the fullest column: else a ribbon would change its width on the
    # way.
    scale = min(
        (_scale(column, flowing, streams, room.height, gap) for column, gap in gaps.items()),
        default=0.0,
    )
    boxes: dict[str, Box] = {}
    y: dict[int, float] = {}
    for stand in flowing:
        # With a single column there is nothing to divide the width by.
        x = stand.column / (last or 1) * (room.width - BOX_PX)
        box = _box(stand.key, streams, (x, y.get(stand.column, 0.0), scale), stand.key not in inner)
        boxes[stand.key] = box
        y[stand.column] = box.y + box.height + gaps[stand.column]
    return Layout(
        boxes=tuple(boxes.values()), ribbons=_ribbons(boxes, streams, scale), px_per_mg=scale
    )


def _gap(column: int, last: int, stands: Sequence[Stand], room: Room) -> float:
    """Return the gap between boxes of a column; all gaps take half of the height at most."""
    between = sum(stand.column == column for stand in stands) - 1
    return min(room.last_gap if column == last else room.gap, room.height / 2 / max(1, between))


def into_mg(key: str, streams: Sequence[Stream]) -> int:
    return sum(stream.mass_mg for stream in streams if stream.target == key)


def out_of_mg(key: str, streams: Sequence[Stream]) -> int:
    return sum(stream.mass_mg for stream in streams if stream.source == key)


def _through_mg(key: str, streams: Sequence[Stream]) -> int:
    return max(into_mg(key, streams), out_of_mg(key, streams))


def _scale(
    column: int, stands: Sequence[Stand], streams: Sequence[Stream], height: float, gap: float
) -> float:
    """Return the px per milligram at which a column just fits."""
    keys = [stand.key for stand in stands if stand.column == column]
    through = sum(_through_mg(key, streams) for key in keys)
    return max(1.0, height - gap * (len(keys) - 1)) / through


def _box(key: str, streams: Sequence[Stream], at: tuple[float, float, float], is_end: bool) -> Box:
    x, y, scale = at
    came, left = into_mg(key, streams), out_of_mg(key, streams)
    return Box(
        key=key,
        x=x,
        y=y,
        height=max(came, left) * scale,
        mass_mg=max(came, left),
        from_stock_mg=0 if is_end else max(0, left - came),
        to_stock_mg=0 if is_end else max(0, came - left),
        is_end=is_end,
    )


def _ribbons(
    boxes: Mapping[str, Box], streams: Sequence[Stream], scale: float
) -> tuple[Ribbon, ...]:
    """Place the ribbons. They leave and enter in the order of the boxes at their other end."""
    y1, y2 = _starts(boxes, streams, scale, out=True), _starts(boxes, streams, scale, out=False)
    return tuple(
        Ribbon(
            stream=stream,
            x1=boxes[stream.source].x + BOX_PX,
            y1=y1[number],
            x2=boxes[stream.target].x,
            y2=y2[number],
            width=stream.mass_mg * scale,
        )
        for number, stream in enumerate(streams)
    )


def _starts(
    boxes: Mapping[str, Box], streams: Sequence[Stream], scale: float, *, out: bool
) -> dict[int, float]:
    def ends(stream: Stream) -> tuple[str, str]:
        pair = (stream.source, stream.target)
        return pair if out else (pair[1], pair[0])

    found: dict[int, float] = {}
    filled: dict[str, float] = {}
    # Fewer ribbons cross; the sort is stable, so equal ones keep the order in which they were
    # given.
    order = sorted(range(len(streams)), key=lambda n: boxes[ends(streams[n])[1]].y)
    for number in order:
        here = ends(streams[number])[0]
        found[number] = boxes[here].y + filled.get(here, 0.0)
        filled[here] = filled.get(here, 0.0) + streams[number].mass_mg * scale
    return found
