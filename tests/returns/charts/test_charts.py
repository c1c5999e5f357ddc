"""The pictures: well-formed, told in words, free of inline style, and true to their values."""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns import charts
from returns.charts import Fan, FanMonth, Line, Lived, Point, Run, Runs, Series, Title, canvas
from returns.charts.canvas import Axis

SVG = "{http://www.w3.org/2000/svg}"
TITLE = Title("Frames by month", "Bars for each month.")
EVIL = "<script>alert(1)</script>\"'&"


def parsed(svg: str) -> ElementTree.Element:
    assert "style=" not in svg
    assert "<script" not in svg
    return ElementTree.fromstring(svg)  # noqa: S314


def marked(svg: str, kind: str, tag: str = "rect") -> list[ElementTree.Element]:
    return [mark for mark in parsed(svg).iter(SVG + tag) if kind in mark.attrib["class"].split()]


def rects(svg: str) -> list[ElementTree.Element]:
    return marked(svg, "chart-mark")


def plain(value: float) -> str:
    return f"{value:g}"


def points_of(element: ElementTree.Element) -> list[tuple[float, float]]:
    pairs = (pair.split(",") for pair in element.attrib["points"].split())
    return [(float(x), float(y)) for x, y in pairs]


def lived(points: list[Point], name: str = "still out") -> Lived:
    return Lived(
        points=points,
        fit=[(0, 1), (5, 0.8), (10, 0.5)],
        at_risk=[(p.x, 40) for p in points],
        across=name,
        starts=lambda share: f"starts at {share}",
        at_risk_name="at risk",
        key=(name, "limits", "fit"),
    )


def run_chart(values: list[float], name: str = "R-1") -> Runs:
    return Runs(
        runs=[Run(name, value, value > 0.9) for value in values],
        mean=0.5,
        low=0.2,
        high=0.9,
        most=1.0,
        names=("mean", "upper", "lower"),
        starts=lambda share: f"starts at {share}",
    )


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
    svg = charts.bars(Title(EVIL, EVIL), [EVIL], [Series(EVIL, [1]), Series("b", [1])])
    assert parsed(svg).find(f"{SVG}title").text == EVIL  # type: ignore[union-attr]
    parsed(charts.lying_bars(TITLE, [EVIL], [1], [EVIL]))
    parsed(charts.survival(TITLE, lived([Point(1, 0.9, 0.8, 0.95)], EVIL), plain))
    parsed(charts.curves(TITLE, [Line(EVIL, [(0, 0), (1, 0.2)])], plain, across=EVIL))
    parsed(charts.runs(TITLE, run_chart([0.3, 0.4], EVIL), plain))
    parsed(charts.fan(TITLE, Fan(past=[(EVIL, 2)], ahead=[], key=(EVIL, "b", "c", "d"))))


def test_four_series_are_the_most() -> None:
    series = [Series(str(n), [1]) for n in range(5)]
    charts.bars(TITLE, ["a"], series[:4])
    with pytest.raises(ValueError, match="at most four"):
        charts.bars(TITLE, ["a"], series)


def test_six_curves_are_the_most() -> None:
    lines = [Line(str(n), [(0, 0), (1, 0.1)]) for n in range(7)]
    charts.curves(TITLE, lines[:6], plain, across="")
    with pytest.raises(ValueError, match="at most six"):
        charts.curves(TITLE, lines, plain, across="")


def test_a_missing_value_is_refused() -> None:
    with pytest.raises(ValueError, match="one value for every label"):
        charts.bars(TITLE, ["a", "b"], [Series("n", [1])])
    with pytest.raises(ValueError, match="in words"):
        charts.lying_bars(TITLE, ["a"], [1], [])


@given(st.lists(st.integers(0, 10_000_000), min_size=1, max_size=130))
def test_no_bar_leaves_the_picture(values: list[int]) -> None:
    svg = charts.bars(TITLE, [str(v) for v in values], [Series("n", values)])
    height = float(parsed(svg).attrib["viewBox"].split()[3])
    for mark in rects(svg):
        top, tall = float(mark.attrib["y"]), float(mark.attrib["height"])
        assert top >= 0
        assert top + tall <= height
        assert float(mark.attrib["x"]) + float(mark.attrib["width"]) <= canvas.WIDTH


@pytest.mark.parametrize("width", [canvas.WIDTH, canvas.NARROW])
@given(values=st.lists(st.floats(0, 1e4), min_size=1, max_size=30))
def test_no_mark_leaves_the_picture_at_either_width(width: float, values: list[float]) -> None:
    names = [f"{n}" for n in range(len(values))]
    share = [value / 1e4 for value in values]
    points = [Point(n, one, one / 2, min(1.0, one + 0.1)) for n, one in enumerate(share)]
    ahead = [FanMonth(label="m", expected=v, inner=(v, v), outer=(0, v + 1)) for v in values]
    for svg in (
        charts.bars(TITLE, names, [Series("n", values), Series("m", values)], width=width),
        charts.lying_bars(TITLE, names, values, names, width=width),
        charts.runs(TITLE, run_chart(share), plain, width=width),
        charts.survival(TITLE, lived(points), plain, width=width),
        charts.curves(TITLE, [Line("c", list(enumerate(share)))], plain, across="m", width=width),
        charts.fan(TITLE, Fan(past=[], ahead=ahead, key=("a", "b", "c", "d")), width=width),
    ):
        root = parsed(svg)
        across, down = map(float, root.attrib["viewBox"].split()[2:])
        assert across == width
        for mark in root.iter(f"{SVG}rect"):
            x, y, wide, tall = (float(mark.attrib[k]) for k in ("x", "y", "width", "height"))
            assert x >= 0
            assert y >= 0
            assert x + wide <= width
            assert y + tall <= down
        for line in root.iter(f"{SVG}polyline"):
            assert all(0 <= x <= width and 0 <= y <= down for x, y in points_of(line))


def test_a_chart_for_screens_is_drawn_twice_with_names_of_its_own() -> None:
    both = charts.for_screens(partial(charts.bars, TITLE, ["a"], [Series("n", [3])]))
    root = parsed(f"<div>{both}</div>")
    drawn = list(root)
    assert [svg.attrib["viewBox"].split()[2] for svg in drawn] == ["560", "300"]
    assert "chart-narrow" in drawn[1].attrib["class"].split()
    named = [element.attrib["id"] for element in root.iter() if "id" in element.attrib]
    assert len(named) == len(set(named)) == 4


def test_a_lying_bar_of_a_narrow_picture_has_its_label_over_it() -> None:
    label = "Grinding: count difference"
    svg = charts.lying_bars(TITLE, [label], [2.0], ["2 g"], width=canvas.NARROW)
    (bar,) = rects(svg)
    words = next(text for text in parsed(svg).iter(f"{SVG}text") if text.text == label)
    assert words.attrib["x"] == "8.0"
    assert float(words.attrib["y"]) < float(bar.attrib["y"])


def test_an_empty_chart_is_still_a_picture() -> None:
    parsed(charts.bars(TITLE, [], []))
    parsed(charts.lying_bars(TITLE, [], [], []))
    parsed(charts.survival(TITLE, lived([]), plain))
    parsed(charts.curves(TITLE, [], plain, across="months"))
    parsed(charts.fan(TITLE, Fan(past=[], ahead=[], key=("a", "b", "c", "d"))))


def test_a_lying_bar_below_zero_has_no_length_but_its_value() -> None:
    svg = charts.lying_bars(TITLE, ["dust", "difference"], [2.0, -0.5], ["2 g", "-0.5 g"])
    lengths = [float(mark.attrib["width"]) for mark in rects(svg)]
    assert lengths[1] < 1 < lengths[0]
    assert "-0.5 g" in svg


def test_a_curve_steps_down_inside_its_band() -> None:
    points = [Point(0, 1, 1, 1), Point(4, 0.8, 0.7, 0.9), Point(10, 0.5, 0.3, 0.65)]
    svg = charts.survival(TITLE, lived(points), plain)
    xy = points_of(marked(svg, "chart-line", "polyline")[0])
    # Three points make two steps: five corners, each step first across and then down.
    assert len(xy) == 5
    assert [a[1] <= b[1] for a, b in pairwise(xy)] == [True] * 4
    assert xy[1] == (xy[2][0], xy[0][1])
    band = points_of(marked(svg, "chart-band", "polygon")[0])
    assert min(y for _x, y in band) <= min(y for _x, y in xy)
    assert max(y for _x, y in band) >= max(y for _x, y in xy)


@pytest.mark.parametrize(("low", "data"), [(0.84, "starts at 0.8"), (0.02, None)])
def test_an_axis_that_does_not_start_at_zero_says_so(low: float, data: str | None) -> None:
    svg = charts.survival(TITLE, lived([Point(0, 1, 1, 1), Point(6, 0.9, low, 0.95)]), plain)
    assert ("starts at" in svg) == (data is not None)
    assert data is None or data in svg
    assert len(marked(svg, "chart-kink", "polyline")) == (data is not None)


def test_the_number_at_risk_stands_under_its_age() -> None:
    svg = charts.survival(TITLE, lived([Point(0, 1, 1, 1), Point(6, 0.9, 0.85, 0.95)]), plain)
    words = [text for text in parsed(svg).iter(f"{SVG}text") if text.text == "40"]
    assert len(words) == 2


def test_a_run_outside_its_limits_is_drawn_apart() -> None:
    svg = charts.runs(TITLE, run_chart([0.3, 0.95, 0.4]), plain)
    dots = marked(svg, "chart-mark", "circle")
    assert ["chart-mark-out" in dot.attrib["class"] for dot in dots] == [False, True, False]
    assert len(marked(svg, "chart-limit", "line")) == 2


def test_no_axis_of_shares_goes_beyond_the_whole() -> None:
    svg = charts.runs(TITLE, run_chart([0.5, 0.999]), plain)
    marks = [text.text for text in parsed(svg).iter(f"{SVG}text") if "end" in text.attrib.values()]
    assert max(float(str(mark)) for mark in marks) == 1.0


def test_the_inner_band_of_a_fan_lies_in_the_outer() -> None:
    ahead = [FanMonth(label=str(n), expected=5, inner=(4, 6), outer=(2, 9)) for n in range(4)]
    svg = charts.fan(TITLE, Fan(past=[("p", 7)], ahead=ahead, key=("a", "b", "c", "d")))
    outer = points_of(marked(svg, "chart-band", "polygon")[0])
    inner = points_of(marked(svg, "chart-inner", "polygon")[0])
    assert min(y for _x, y in outer) < min(y for _x, y in inner)
    assert max(y for _x, y in outer) > max(y for _x, y in inner)


@given(st.floats(-1e6, 1e6), st.floats(0, 1e6))
def test_an_axis_holds_what_it_is_over(low: float, wide: float) -> None:
    axis = Axis.over(low, low + wide)
    slack = 1e-6 * max(1.0, axis.step)
    assert axis.low <= low + slack
    assert axis.high >= low + wide - slack
    assert len(axis.marks) >= 2
