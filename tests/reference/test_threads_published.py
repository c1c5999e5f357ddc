"""Thread geometry against printed tables.

Sizes: ISO 11381:2016, contents as listed by a standards shop (read). Dimensions: thread tables on
public reference pages (read), each to the digits it prints.
"""

from __future__ import annotations

from decimal import Decimal as D

import pytest

from returns.mending.sums import THREADS, Thread, engagement_percent, geometry, named


def test_sizes_are_those_of_iso_11381() -> None:
    """ISO 11381:2016, Ophthalmic optics, Spectacle frames, Screw threads: sizes (read)."""
    assert [(thread.name[0], thread.diameter_mm, thread.pitch_mm) for thread in THREADS] == [
        ("S", D("0.8"), D("0.2")),
        ("M", D("1.0"), D("0.25")),
        ("M", D("1.2"), D("0.25")),
        ("M", D("1.4"), D("0.3")),
        ("M", D("1.6"), D("0.35")),
        ("M", D("2.0"), D("0.4")),
    ]


@pytest.mark.parametrize(
    ("name", "pitch_diameter", "nut_minor"),
    [
        ("M1x0.25", "0.838", "0.729"),  # machinists' thread table, M1 (read)
        ("M1.6x0.35", "1.373", "1.221"),  # tool maker's UNI 4535 table (read)
        ("M2x0.4", "1.740", "1.567"),  # the same (read)
    ],
)
def test_pitch_and_nut_minor_diameter_as_printed(
    name: str, pitch_diameter: str, nut_minor: str
) -> None:
    found = geometry(named(name))
    assert abs(found.pitch_diameter_mm - D(pitch_diameter)) <= D("0.0005")
    assert abs(found.nut_minor_mm - D(nut_minor)) <= D("0.0005")


def test_other_pitch_of_the_same_diameter_as_printed() -> None:
    """M1.2x0.2 gives 1.070 and 0.983 in a machinists' thread table (read)."""
    fine = geometry(Thread("M1.2x0.2", D("1.2"), D("0.2"), None, None))
    assert abs(fine.pitch_diameter_mm - D("1.070")) <= D("0.0005")
    assert abs(fine.nut_minor_mm - D("0.983")) <= D("0.0005")


def test_m1_4_as_printed_with_four_digits() -> None:
    """A metric thread specification page for M1.4 (read); it prints 1.0753 for 1.07524."""
    found = geometry(named("M1.4x0.3"))
    assert abs(found.pitch_diameter_mm - D("1.2051")) <= D("0.0001")
    assert abs(found.nut_minor_mm - D("1.0753")) <= D("0.0001")
    assert abs(found.root_mm - D("1.0319")) <= D("0.0001")
    assert found.tap_drill_mm == D("1.1")


@pytest.mark.parametrize(("name", "root"), [("M1.6x0.35", "1.171"), ("M2x0.4", "1.509")])
def test_root_diameter_as_printed(name: str, root: str) -> None:
    """Tool maker's UNI 4535 table (read)."""
    assert abs(geometry(named(name)).root_mm - D(root)) <= D("0.0005")


def test_m1_drill_of_0_76_leaves_about_75_percent_of_thread() -> None:
    """Machinists' thread table, M1: drill 0.76 at 75 % (read).

    The printed drill is rounded to 0.01 mm, which is 3 % of thread at this pitch.
    """
    assert abs(engagement_percent(named("M1x0.25"), D("0.76")) - 75) <= D("1.6")


def test_stress_area_of_m1_4_follows_its_formula_not_the_misprint() -> None:
    """One page prints 0.94 mm2; the formula it names gives 0.983 (read, negative example)."""
    assert abs(geometry(named("M1.4x0.3")).stress_area_mm2 - D("0.983")) <= D("0.0005")


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("M1x0.25", "0.915", "0.982"),  # thread table (read)
        ("M1.4x0.3", "1.307", "1.382"),  # thread table (read)
    ],
)
def test_tolerance_limits_of_the_screw_as_printed(name: str, low: str, high: str) -> None:
    thread = named(name)
    assert (thread.major_min_mm, thread.major_max_mm) == (D(low), D(high))


@pytest.mark.parametrize("thread", [thread for thread in THREADS if thread.is_iso_profile])
def test_tolerance_limits_follow_iso_965_1(thread: Thread) -> None:
    """ISO 965-1 (from memory): es = -(15 + 11 P) um, Td(6) = 180 P^(2/3) - 3.15 P^(-1/2) um.

    The standard then rounds to preferred numbers, by up to 3 um at these pitches.
    """
    pitch = float(thread.pitch_mm)
    upper = float(thread.diameter_mm) - (15 + 11 * pitch) / 1000
    tolerance = (180 * pitch ** (2 / 3) - 3.15 * pitch**-0.5) / 1000
    assert float(thread.major_max_mm or 0) == pytest.approx(upper, abs=0.0006)
    assert float(thread.major_min_mm or 0) == pytest.approx(upper - tolerance, abs=0.003)
