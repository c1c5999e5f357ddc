"""The flow as drawn, across a page and down a phone: whole, and as wide as its mass."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given, settings

from returns import charts
from returns.charts import FlowWords, Title, canvas
from returns.charts.streams import BOX_PX, laid_out
from tests.returns.charts.test_streams import INNER, MASSES, STANDS, streams

SVG = "{http://www.w3.org/2000/svg}"
WIDTHS = pytest.mark.parametrize("width", [canvas.WIDTH, canvas.NARROW])
MASSES_OF_A_YEAR = {
    ("in", "shelf"): 10_328_000,
    ("shelf", "bench"): 10_170_000,
    ("bench", "out"): 6_066_000,
    ("bench", "box"): 2_752_000,
    ("bench", "salvage"): 12_000,
    ("bench", "waste"): 667_000,
    ("box", "lot"): 2_659_000,
    ("lot", "out"): 2_390_000,
}


def drawn(found: dict[tuple[str, str], int], width: float) -> ElementTree.Element:
    layout = laid_out(STANDS, streams(found), INNER, charts.room(width))
    words = FlowWords(
        names={stand.key: f"the {stand.key} of it" for stand in STANDS},
        mass=lambda mass_mg: f"{mass_mg} mg",
        stock=lambda box: f"{box.to_stock_mg} mg stay" if box.to_stock_mg else "",
    )
    svg = charts.flow(Title("Flow", "Ribbons."), layout, words, width=width)
    return ElementTree.fromstring(svg)  # noqa: S314


def size(root: ElementTree.Element) -> tuple[float, float]:
    across, down = root.attrib["viewBox"].split()[2:]
    return float(across), float(down)


def points(ribbon: ElementTree.Element) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"([\d.]+),([\d.]+)", ribbon.attrib["d"])]


def texts(root: ElementTree.Element) -> list[str]:
    return [text.text or "" for text in root.iter(f"{SVG}text")]


@WIDTHS
@settings(max_examples=50)
@given(MASSES)
def test_nothing_of_a_flow_leaves_its_sheet(
    width: float, found: dict[tuple[str, str], int]
) -> None:
    root = drawn(found, width)
    across, down = size(root)
    for mark in root.iter(f"{SVG}rect"):
        x, y, wide, tall = (float(mark.attrib[k]) for k in ("x", "y", "width", "height"))
        assert 0 <= x <= x + wide <= across
        assert 0 <= y <= y + tall <= down
    for ribbon in root.iter(f"{SVG}path"):
        assert all(0 <= x <= across and 0 <= y <= down for x, y in points(ribbon))


@WIDTHS
def test_a_ribbon_is_as_wide_as_its_mass_at_both_its_ends(width: float) -> None:
    root = drawn(MASSES_OF_A_YEAR, width)
    across_the_flow = 0 if canvas.is_narrow(width) else 1
    shares = []
    for ribbon in root.iter(f"{SVG}path"):
        corners = [point[across_the_flow] for point in points(ribbon)]
        data = ribbon.findtext(f"{SVG}title") or ""
        mass_mg = int(re.findall(r"(\d+) mg", data)[0])
        if mass_mg > 1_000_000:
            shares += [(corners[-1] - corners[0]) / mass_mg, (corners[4] - corners[3]) / mass_mg]
    assert len(shares) == 12
    assert shares == pytest.approx([shares[0]] * 12, rel=2e-3)


def test_on_a_phone_a_flow_runs_down_the_sheet() -> None:
    root = drawn(MASSES_OF_A_YEAR, canvas.NARROW)
    assert size(root)[0] == canvas.NARROW
    boxes = [mark for mark in root.iter(f"{SVG}rect") if "chart-mark" in mark.attrib["class"]]
    assert {float(box.attrib["height"]) for box in boxes} == {BOX_PX}
    depth = [float(box.attrib["y"]) for box in boxes]
    assert depth == sorted(depth)
    assert len(set(depth)) == 6


def test_on_a_phone_the_ends_have_numbers_and_a_list_of_them() -> None:
    data = texts(drawn(MASSES_OF_A_YEAR, canvas.NARROW))
    assert [data.count(number) for number in ("1", "2", "3")] == [2, 2, 0]
    assert "the out of it · 8456000 mg" in data
    assert "the waste of it · 667000 mg" in data


def test_on_a_phone_a_long_name_is_broken_before_it_meets_its_neighbour() -> None:
    data = texts(drawn(MASSES_OF_A_YEAR, canvas.NARROW))
    assert "the salvage of" in data
    room = int(charts.room(canvas.NARROW).gap / canvas.LETTER_PX)
    assert all(len(line) <= room for line in data if line.startswith("the") and "·" not in line)


@WIDTHS
def test_every_place_of_a_flow_is_named(width: float) -> None:
    data = " ".join(texts(drawn(MASSES_OF_A_YEAR, width)))
    assert [
        key
        for key in ("in", "shelf", "bench", "box", "lot", "out")
        if f"the {key} of it" not in data
    ] == []
