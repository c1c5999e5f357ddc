"""Stepping up and classifying screws. Wall vectors are constructed."""

from __future__ import annotations

from decimal import Decimal as D

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.mending.sums import (
    THREADS,
    ThreadError,
    classify,
    engagement_percent,
    geometry,
    named,
    step_up,
    turns_engaged,
    wall_needed_now_mm,
)

M14, M16, M2 = named("M1.4x0.3"), named("M1.6x0.35"), named("M2x0.4")


@pytest.mark.parametrize(("wall", "fits"), [("0.89", False), ("0.90", True), ("0.91", True)])
def test_step_up_one_below_at_and_above_the_wall_needed(wall: str, fits: bool) -> None:
    """M1.4 to M1.6 takes 0.1 mm of wall and must leave half of 1.6 mm."""
    assert wall_needed_now_mm(M14, M16) == D("0.90")
    if fits:
        stepped = step_up(M14, D(wall))
        assert stepped.thread == M16
        assert stepped.wall_left_mm == D(wall) - D("0.1")
    else:
        with pytest.raises(ThreadError) as refused:
            step_up(M14, D(wall))
        assert refused.value.code == "wall-too-thin"


def test_step_up_skips_sizes_that_are_not_stocked() -> None:
    assert step_up(M14, D(3), stocked=[M14, M2]).thread == M2


def test_largest_size_cannot_be_stepped_up() -> None:
    with pytest.raises(ThreadError) as refused:
        step_up(M2, D(9))
    assert refused.value.code == "no-larger-thread"


def test_miniature_size_steps_up_but_has_no_iso_geometry() -> None:
    miniature = named("S0.8x0.2")
    assert step_up(miniature, D(1)).thread == named("M1x0.25")
    for ask in (lambda: geometry(miniature), lambda: engagement_percent(miniature, D("0.6"))):
        with pytest.raises(ThreadError) as refused:
            ask()
        assert refused.value.code == "miniature-profile"


@given(
    st.sampled_from(THREADS[:-1]),
    st.decimals(0, 3, places=2),
    st.decimals("0.1", 2, places=2),
)
def test_step_up_succeeds_exactly_when_the_wall_needed_is_there(
    current: object, wall: D, ratio: D
) -> None:
    following = THREADS[THREADS.index(current) + 1]  # type: ignore[arg-type]
    enough = wall >= wall_needed_now_mm(current, following, wall_ratio=ratio)  # type: ignore[arg-type]
    if not enough:
        with pytest.raises(ThreadError, match="would leave"):
            step_up(current, wall, wall_ratio=ratio)  # type: ignore[arg-type]
        return
    stepped = step_up(current, wall, wall_ratio=ratio)  # type: ignore[arg-type]
    assert stepped.wall_left_mm >= stepped.wall_needed_mm


@pytest.mark.parametrize(
    ("reading", "name"),
    [
        ("0.915", "M1x0.25"),
        ("0.982", "M1x0.25"),
        ("1.15", "M1.2x0.25"),
        ("1.307", "M1.4x0.3"),
        ("1.55", "M1.6x0.35"),
        ("1.95", "M2x0.4"),
    ],
)
def test_reading_within_limits_names_one_size(reading: str, name: str) -> None:
    assert [thread.name for thread in classify(D(reading))] == [name]


@pytest.mark.parametrize(
    ("reading", "sizes"), [("0.904", 0), ("0.905", 1), ("0.906", 1), ("0.993", 0), ("1.25", 0)]
)
def test_uncertainty_widens_the_limits_and_no_further(reading: str, sizes: int) -> None:
    assert len(classify(D(reading))) == sizes


def test_coarse_reading_names_every_size_it_could_be() -> None:
    assert classify(D("1.34"), uncertainty_mm=D("0.2")) == (named("M1.2x0.25"), M14, M16)


def test_turns_are_length_over_pitch() -> None:
    assert turns_engaged(M14, D("2.4")) == 8


@pytest.mark.parametrize(
    ("ask", "code"),
    [
        (lambda: named("M3"), "thread-unknown"),
        (lambda: step_up(M14, D(-1)), "wall-negative"),
        (lambda: step_up(M14, D(1), wall_ratio=D(0)), "wall-negative"),
        (lambda: classify(D(0)), "diameter"),
        (lambda: classify(D(1), uncertainty_mm=D(-1)), "diameter"),
        (lambda: engagement_percent(M14, D("1.41")), "drill-size"),
        (lambda: turns_engaged(M14, D(-1)), "hole-length"),
    ],
)
def test_nonsense_is_refused_with_a_stable_code(ask, code: str) -> None:  # type: ignore[no-untyped-def]
    with pytest.raises(ThreadError) as refused:
        ask()
    assert refused.value.code == code
