"""The layout of a flow: width is mass everywhere, for whatever the ledger may hold."""

from __future__ import annotations

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from returns.charts.streams import Layout, Room, Stand, Stream, laid_out

ROOM = Room(width=700, height=500, gap=60, last_gap=24)
STANDS = [
    Stand("in", 0),
    Stand("shelf", 1),
    Stand("bench", 2),
    Stand("box", 3),
    Stand("salvage", 3),
    Stand("lot", 4),
    Stand("out", 5),
    Stand("waste", 5),
]
INNER = frozenset({"shelf", "bench", "box", "salvage", "lot"})
PAIRS = [(a.key, b.key) for a in STANDS for b in STANDS if a.column < b.column]


MASSES = st.dictionaries(
    st.sampled_from(PAIRS), st.integers(1, 50_000_000), min_size=1, max_size=10
)
# A busy machine draws slowly; that says nothing of the layout.
patient = settings(max_examples=50)


def streams(masses: dict[tuple[str, str], int]) -> list[Stream]:
    return [Stream(*pair, mass_mg) for pair, mass_mg in masses.items()]


def near(a: float, b: float) -> bool:
    return a == pytest.approx(b, abs=1e-6)


def widths(layout: Layout, key: str) -> tuple[float, float]:
    into = sum(r.width for r in layout.ribbons if r.stream.target == key)
    out = sum(r.width for r in layout.ribbons if r.stream.source == key)
    return into, out


@patient
@given(MASSES)
def test_widths_in_and_stock_used_equal_widths_out_and_stock_kept(
    found: dict[tuple[str, str], int],
) -> None:
    layout = laid_out(STANDS, streams(found), INNER, ROOM)
    for box in layout.boxes:
        into, out = widths(layout, box.key)
        if box.is_end:
            assert near(max(into, out), box.height)
            continue
        used, kept = box.from_stock_mg * layout.px_per_mg, box.to_stock_mg * layout.px_per_mg
        assert near(into + used, out + kept)
        assert near(into + used, box.height)


@patient
@given(MASSES)
def test_one_scale_serves_every_ribbon(found: dict[tuple[str, str], int]) -> None:
    layout = laid_out(STANDS, streams(found), INNER, ROOM)
    assert len(layout.ribbons) == len(found)
    for ribbon in layout.ribbons:
        assert near(ribbon.width, ribbon.stream.mass_mg * layout.px_per_mg)


@patient
@given(MASSES)
def test_ribbons_of_a_side_lie_in_their_box_and_do_not_overlap(
    found: dict[tuple[str, str], int],
) -> None:
    layout = laid_out(STANDS, streams(found), INNER, ROOM)
    for box in layout.boxes:
        for ends in (
            [(r.y1, r.width) for r in layout.ribbons if r.stream.source == box.key],
            [(r.y2, r.width) for r in layout.ribbons if r.stream.target == box.key],
        ):
            floor = box.y
            for y, width in sorted(ends):
                assert y >= floor - 1e-6
                floor = y + width
            assert floor <= box.y + box.height + 1e-6


@patient
@given(MASSES)
def test_boxes_of_a_column_keep_their_gap_and_fit(found: dict[tuple[str, str], int]) -> None:
    layout = laid_out(STANDS, streams(found), INNER, ROOM)
    last = max(box.x for box in layout.boxes)
    for x in {box.x for box in layout.boxes}:
        column = sorted((box for box in layout.boxes if box.x == x), key=lambda box: box.y)
        gap = ROOM.last_gap if x == last else ROOM.gap
        for above, below in pairwise(column):
            assert below.y - above.y - above.height >= gap - 1e-6
        assert column[-1].y + column[-1].height <= ROOM.height + 1e-6


def test_a_stand_without_a_stream_is_not_drawn() -> None:
    layout = laid_out(STANDS, [Stream("in", "shelf", 5)], INNER, ROOM)
    assert [box.key for box in layout.boxes] == ["in", "shelf"]
    assert layout.boxes[1].to_stock_mg == 5


def test_nothing_flows_into_an_empty_drawing() -> None:
    assert laid_out(STANDS, [], INNER, ROOM).boxes == ()


@pytest.mark.parametrize(("target", "mass_mg"), [("a", 1), ("b", 0), ("b", -1)])
def test_a_stream_without_mass_or_way_is_refused(target: str, mass_mg: int) -> None:
    with pytest.raises(ValueError, match="stream"):
        Stream("a", target, mass_mg)
