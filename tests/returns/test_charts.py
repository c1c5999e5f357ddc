"""The pictures: well-formed, told in words, free of inline style, and true to their values."""

from __future__ import annotations

import re
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns import charts
from returns.charts import Point, Series, Title

SVG = "{http://www.w3.org/2000/svg}"
TITLE = Title("Frames by month", "Bars for each month.")


def parsed(svg: str) -> ElementTree.Element:
    assert "style=" not in svg
    assert "<script" not in svg
    return ElementTree.fromstring(svg)  # noqa: S314


def rects(svg: str) -> list[ElementTree.Element]:
    return [mark for mark in parsed(svg).iter(f"{SVG}rect") if "chart-mark" in mark.attrib["class"]]


def test_a_picture_has_its_name_and_its_words() -> None:
    root = parsed(charts.bars(TITLE, ["2026-01"], [Series("Received", [3])]))
    assert root.attrib["role"] == "img"
    named = root.attrib["aria-labelledby"].split()
    found = {element.attrib.get("id"): element.text for element in root}
    assert [found[one] for one in named] == ["Frames by month", "Bars for each month."]


def test_bars_are_as_high_as_their_values() -> None:
    marks = rects(charts.bars(TITLE, ["a", "b", "c"], [Series("n", [2, 4, 0])]))
    heights = [float(mark.attrib["height"]) for mark in marks]
    assert len(heights) == 2
    assert heights[1] == pytest.approx(2 * heights[0], abs=0.11)


def test_each_mark_says_its_value() -> None:
    marks = rects(charts.bars(TITLE, ["2026-01"], [Series("Received", [3])]))
    assert [mark[0].text for mark in marks] == ["2026-01, Received: 3"]


def test_names_and_labels_cannot_bring_markup_in() -> None:
    evil = "<script>alert(1)</script>\"'&"
    svg = charts.bars(Title(evil, evil), [evil], [Series(evil, [1]), Series("b", [1])])
    assert "<script" not in svg
    assert parsed(svg).find(f"{SVG}title").text == evil  # type: ignore[union-attr]
    parsed(charts.heat(TITLE, [evil], [evil], [[1]]))
    parsed(charts.lying_bars(TITLE, [evil], [1], evil))


def test_four_series_are_the_most() -> None:
    series = [Series(str(n), [1]) for n in range(5)]
    charts.bars(TITLE, ["a"], series[:4])
    with pytest.raises(ValueError, match="at most four"):
        charts.bars(TITLE, ["a"], series)


def test_a_missing_value_is_refused() -> None:
    with pytest.raises(ValueError, match="one value for every label"):
        charts.bars(TITLE, ["a", "b"], [Series("n", [1])])
    with pytest.raises(ValueError, match="one count"):
        charts.heat(TITLE, ["a"], ["x", "y"], [[1]])


@given(st.lists(st.integers(0, 10_000_000), min_size=1, max_size=130))
def test_no_bar_leaves_the_picture(values: list[int]) -> None:
    for mark in rects(charts.bars(TITLE, [str(v) for v in values], [Series("n", values)])):
        top, height = float(mark.attrib["y"]), float(mark.attrib["height"])
        assert top >= 0
        assert top + height <= charts.HEIGHT
        assert float(mark.attrib["x"]) + float(mark.attrib["width"]) <= charts.WIDTH


def test_an_empty_chart_is_still_a_picture() -> None:
    parsed(charts.bars(TITLE, [], []))
    parsed(charts.lying_bars(TITLE, [], [], "g"))
    parsed(charts.heat(TITLE, [], [], []))
    parsed(charts.curve(TITLE, [], across="months"))


def test_a_lying_bar_below_zero_has_no_length_but_its_value() -> None:
    svg = charts.lying_bars(TITLE, ["dust", "difference"], [2.0, -0.5], "g")
    lengths = [float(mark.attrib["width"]) for mark in rects(svg)]
    assert lengths[1] < 1 < lengths[0]
    assert "-0.5 g" in svg


def test_heat_says_every_count_and_shades_by_the_largest() -> None:
    svg = charts.heat(TITLE, ["arm", "front"], ["snapped", "warped"], [[8, 0], [2, 1]])
    shades = re.findall(r"chart-shade-(\d)", svg)
    assert shades == ["4", "0", "1", "1"]
    assert "arm, snapped: 8" in svg


def test_a_curve_steps_down_inside_its_band() -> None:
    points = [Point(0, 1, 1, 1), Point(4, 0.8, 0.7, 0.9), Point(10, 0.5, 0.3, 0.65)]
    root = parsed(charts.curve(TITLE, points, across="months"))
    line = root.find(f"{SVG}polyline")
    assert line is not None
    xy = [tuple(map(float, pair.split(","))) for pair in line.attrib["points"].split()]
    # Three points make two steps: five corners, each step first across and then down.
    assert len(xy) == 5
    assert [a[1] <= b[1] for a, b in pairwise(xy)] == [True] * 4
    assert xy[1] == (xy[2][0], xy[0][1])
