"""Masses traced to their readings: the rules one by one, and whether the interval holds true."""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest

from inventory.weighing.sums import traced
from inventory.weighing.sums.traced import (
    MassUncertainty,
    MassWithReadings,
    Replay,
    Rest,
    Source,
    Step,
)

HOUSE = frozenset({"shelf", "bench"})
WORLD = frozenset({"wearers", "press", "unexplained"})
FINE = "fine@2026-12-01"


def read(mass_mg: int, *, own_ug: int = 3_000, shared_ug: int = 4_000, scale: str = FINE) -> Source:
    return traced.reading(mass_mg, own_ug=own_ug, shared_ug=((scale, shared_ug),))


def step(number: int, *ends: str, mg: int, line: int = 1, subject: str = "", **facts) -> Step:
    return Step((number, line), ends[0], ends[1], subject, mg, **facts)


def walked(*steps: Step, marks: tuple[tuple[str, int], ...] = ()) -> Replay:
    walk = Replay(apart=HOUSE, outside=WORLD)
    walk.follow(steps, marks)
    return walk


def u_ug(mass: MassWithReadings) -> int:
    return mass.known().expanded_ug


def test_one_reading_has_both_its_parts() -> None:
    """By hand: 2 x sqrt(3² + 4²) mg = 10 mg."""
    assert MassWithReadings.of(read(24_310)).known() == MassUncertainty(10_000, 0, 1)


def test_a_sum_on_one_scale_adds_the_common_part_in_full() -> None:
    """By hand: own sqrt(4 x 3²) = 6, common 4 x 4 = 16: 2 x sqrt(292) = 34.1760 mg."""
    four = MassWithReadings.total(MassWithReadings.of(read(1_000)) for _ in range(4))
    assert four.mass_mg == 4_000
    assert u_ug(four) == 34_177


def test_another_calibration_period_is_another_error() -> None:
    """By hand: own 3² + 3², common 4² + 4²: sqrt(50) = 7.0711 mg, times 2."""
    both = MassWithReadings.total(
        [
            MassWithReadings.of(read(1_000)),
            MassWithReadings.of(read(1_000, scale="fine@2027-12-01")),
        ]
    )
    assert u_ug(both) == 14_143


def test_the_common_error_cancels_in_a_difference_and_the_own_does_not() -> None:
    """By hand: 2 x sqrt(3² + 3²) = 8.4853 mg."""
    assert u_ug(MassWithReadings.of(read(9_000)).less(MassWithReadings.of(read(2_000)))) == 8_486


def test_the_same_reading_on_both_sides_is_known_without_doubt() -> None:
    one = read(9_000)
    assert MassWithReadings.of(one).less(MassWithReadings.of(one)).known() == MassUncertainty()


def test_a_carried_frame_inherits_its_weighing() -> None:
    weighed = read(24_310)
    walk = walked(
        step(1, "wearers", "shelf", mg=24_310, subject="F-1", reading=weighed),
        step(2, "shelf", "bench", mg=24_310, subject="F-1"),
    )
    assert walk.at("bench").parts == {weighed: 1}
    assert walk.at("shelf").parts == {}


def test_two_frames_of_one_mass_are_not_mixed_up() -> None:
    one, two = read(24_310), read(24_310)
    walk = walked(
        step(1, "wearers", "shelf", mg=24_310, subject="F-1", reading=one),
        step(2, "wearers", "shelf", mg=24_310, subject="F-2", reading=two),
        step(3, "shelf", "bench", mg=24_310, subject="F-2"),
    )
    assert walk.at("bench").parts == {two: 1}
    assert walk.at("shelf").parts == {one: 1}


def test_what_a_strip_down_misses_is_the_weigh_in_less_the_parts() -> None:
    whole, plastic, lens = read(24_310), read(19_400), read(4_690)
    walk = walked(
        step(1, "wearers", "bench", mg=24_310, subject="F-1", reading=whole),
        step(2, "bench", "box", mg=19_400, subject="F-1", reading=plastic),
        step(2, "bench", "lens", mg=4_690, subject="F-1", reading=lens, line=2),
        step(2, "bench", "unexplained", mg=220, subject="F-1", line=3),
    )
    assert walk.moved[2, 3].parts == {whole: 1, plastic: -1, lens: -1}
    # By hand: own sqrt(3 x 3²), common 4 - 4 - 4 = -4: 2 x sqrt(27 + 16) = 13.1149 mg.
    assert u_ug(walk.moved[2, 3]) == 13_115
    assert walk.at("bench").known() == MassUncertainty()


def test_parts_that_weigh_more_than_the_frame_give_the_same_difference() -> None:
    whole, plastic = read(24_310), read(24_400)
    walk = walked(
        step(1, "wearers", "bench", mg=24_310, subject="F-1", reading=whole),
        step(2, "bench", "box", mg=24_400, subject="F-1", reading=plastic),
        step(2, "unexplained", "bench", mg=90, subject="F-1", line=2),
    )
    assert walk.moved[2, 2].parts == {plastic: 1, whole: -1}


def test_a_frame_that_went_by_a_second_reading_leaves_nothing_behind() -> None:
    walk = walked(
        step(1, "wearers", "bench", mg=24_310, subject="F-1", reading=read(24_310)),
        step(2, "bench", "wearers", mg=24_310, subject="F-1", reading=read(24_310)),
    )
    assert walk.at("bench").known() == MassUncertainty()


def test_a_lot_that_was_issued_empty_is_still_only_known_so_far() -> None:
    walk = walked(
        step(1, "box", "lot", mg=9_000, reading=read(9_000)),
        step(2, "lot", "press", mg=9_000, reading=read(9_000)),
    )
    assert u_ug(walk.at("lot")) == 8_486


def test_a_nominal_mass_is_booked_and_gets_no_uncertainty() -> None:
    walk = walked(
        step(1, "wearers", "bench", mg=24_310, subject="F-1", reading=read(24_310)),
        step(2, "press", "bench", mg=110, subject="F-1"),
    )
    assert walk.moved[2, 1].known() == MassUncertainty(0, 110)
    assert walk.at("bench").known() == MassUncertainty(10_000, 110, 1)


def test_a_count_puts_its_reading_in_the_place_of_all_before() -> None:
    first, counted = read(9_000), read(8_950)
    walk = walked(
        step(1, "box", "lot", mg=9_000, reading=first),
        step(2, "lot", "unexplained", mg=50, reading=counted, sets="lot"),
    )
    assert walk.at("lot").parts == {counted: 1}
    assert walk.moved[2, 1].parts == {first: 1, counted: -1}


def test_a_count_that_finds_as_much_more_as_it_reads_is_still_a_count() -> None:
    """The gap equals the reading: 50 g were booked, 100 g are there."""
    first, counted = read(50_000), read(100_000)
    walk = walked(
        step(1, "box", "lot", mg=50_000, reading=first),
        step(2, "unexplained", "lot", mg=50_000, reading=counted, sets="lot"),
    )
    assert walk.at("lot").parts == {counted: 1}


def test_a_run_leaves_what_was_put_in_after_it_was_proposed() -> None:
    early, late, flake = read(9_000), read(2_000), read(8_900)
    rest = Rest("box", 1, 9_000)
    walk = walked(
        step(1, "bench", "box", mg=9_000, subject="F-1", reading=early),
        step(2, "bench", "box", mg=2_000, subject="F-2", reading=late),
        step(3, "box", "lot", mg=8_900, reading=flake, rest_of=rest),
        step(3, "box", "unexplained", mg=100, line=2, rest_of=rest),
        marks=(("box", 1),),
    )
    assert walk.at("box").parts == {late: 1}
    assert walk.moved[3, 2].parts == {early: 1, flake: -1}


def test_a_reversal_moves_what_it_undoes() -> None:
    counted = read(8_950)
    walk = walked(
        step(1, "box", "lot", mg=9_000, reading=read(9_000)),
        step(2, "lot", "unexplained", mg=50, reading=counted, sets="lot"),
        step(3, "unexplained", "lot", mg=50, reading=counted, undoes=(2, 1)),
    )
    assert walk.moved[3, 1].parts == walk.moved[2, 1].parts
    assert counted not in walk.at("lot").parts


def test_the_world_outside_is_never_emptied() -> None:
    """Opening stock took 100 g from the unexplained; a run that later loses 100 g is no return."""
    walk = walked(
        step(1, "unexplained", "lot", mg=100_000),
        step(2, "box", "unexplained", mg=100_000),
    )
    assert walk.moved[2, 1].known() == MassUncertainty(0, 100_000)
    assert walk.moved[2, 1].parts != walk.moved[1, 1].parts


def test_flags_of_a_scale_go_with_the_mass() -> None:
    overdue = traced.reading(
        9_000, own_ug=3_000, shared_ug=((FINE, 4_000),), flags=[("1", "past_check")]
    )
    walk = walked(step(1, "box", "lot", mg=9_000, reading=overdue))
    assert walk.at("lot").known().flags == ((("1", "past_check"), 1),)


def test_carried_over_a_close_opening_and_closing_still_cancel() -> None:
    """What a lot carries is one source: issued whole next month, nothing of it is left."""
    first = walked(step(1, "box", "lot", mg=9_000, reading=read(9_000)))
    opened = first.carried()
    second = Replay(opened, apart=HOUSE, outside=WORLD)
    second.follow([step(2, "lot", "unexplained", mg=9_000)])
    assert second.moved[2, 1].known() == first.at("lot").known()
    assert second.at("lot").known() == MassUncertainty()


def test_what_is_kept_at_a_close_comes_back_as_it_was() -> None:
    flags = [("1", "below_minimum")]
    odd = traced.reading(40, own_ug=9, shared_ug=(("grams@", 0),), flags=flags)
    mass = MassWithReadings.total(
        MassWithReadings.of(one) for one in (read(24_310), odd, traced.booked(110))
    )
    mass.add(MassWithReadings.of(read(5_000)), -3)
    back = traced.thawed(traced.frozen(mass.as_one()))
    assert back.mass_mg == mass.mass_mg == 24_310 + 40 + 110 - 15_000
    assert MassWithReadings.of(back).known() == mass.known()
    assert mass.known().flags == (((("1", "below_minimum")), 1),)


def _drawn(rng: random.Random, common_mg: dict[str, float], true_mg: float, scale: str) -> Source:
    """A reading as a scale would show it: its own error drawn anew, the common one as given."""
    own_ug, shared_ug = (3_000, 8_000) if scale == FINE else (60_000, 90_000)
    shown = true_mg + common_mg[scale] * shared_ug / 1000 + rng.gauss(0, own_ug / 1000)
    return read(round(shown), own_ug=own_ug, shared_ug=shared_ug, scale=scale)


BOXES = "boxes@2026-12-01"


def _year(rng: random.Random) -> Iterator[tuple[str, MassWithReadings, float]]:
    """Frames stripped into a box, ground, issued, counted; each figure with its true mass."""
    common_mg = {FINE: rng.gauss(0, 1), BOXES: rng.gauss(0, 1)}
    steps, true_mg, number = [], 0.0, 0
    for index in range(6):
        whole, plastic = 24_000.0 + index, 19_000.0 + index
        seen, boxed = (_drawn(rng, common_mg, mg, FINE) for mg in (whole, plastic))
        tag, number = f"F-{index}", number + 2
        steps += [
            step(number, "wearers", "bench", mg=seen.mass_mg, subject=tag, reading=seen),
            step(number + 1, "bench", "box", mg=boxed.mass_mg, subject=tag, reading=boxed),
            step(
                number + 1, "bench", "waste", mg=seen.mass_mg - boxed.mass_mg, subject=tag, line=2
            ),
        ]
        true_mg += plastic
    flake = _drawn(rng, common_mg, true_mg - 1_500, BOXES)
    issued = _drawn(rng, common_mg, 40_000, BOXES)
    steps += [
        step(90, "box", "lot", mg=flake.mass_mg, reading=flake),
        step(91, "lot", "press", mg=issued.mass_mg, reading=issued),
    ]
    walk = walked(*steps)
    held_mg = sum(s.quantity_mg for s in steps if s.target == "box") - flake.mass_mg
    walk.follow([step(92, "box", "unexplained", mg=held_mg)])
    yield "credited", MassWithReadings.total(walk.moved[n, 1] for n in range(3, 14, 2)), true_mg
    yield "waste", walk.at("waste"), sum(5_000.0 for _ in range(6))
    yield "lost in the run", walk.moved[92, 1], 1_500
    yield "flake left", walk.at("lot"), true_mg - 1_500 - 40_000


@pytest.mark.slow
@pytest.mark.parametrize("figure", ["credited", "waste", "lost in the run", "flake left"])
def test_the_stated_interval_holds_the_true_mass_95_times_in_100(figure: str) -> None:
    """Simulated, not published: k = 2 covers 95.45 % of a normal error (GUM G.1.3, table G.1).

    With 3000 draws the share's own standard deviation is 0.4 %, so three of them are allowed.
    """
    rng = random.Random(f"coverage {figure}")  # noqa: S311
    held = 0
    for _ in range(3_000):
        mass, true_mg = {name: (m, t) for name, m, t in _year(rng)}[figure]
        held += abs(mass.mass_mg - true_mg) * 1000 <= u_ug(mass)
    assert held / 3_000 == pytest.approx(0.9545, abs=0.012)


def test_lenses_that_stay_on_the_bench_are_known_by_their_own_reading() -> None:
    whole, plastic, lens = read(24_310), read(19_400), read(4_690)
    walk = walked(
        step(1, "wearers", "bench", mg=24_310, subject="F-1", reading=whole),
        step(2, "bench", "box", mg=19_400, subject="F-1", reading=plastic),
        step(2, "bench", "unexplained", mg=220, subject="F-1", line=2, sets="bench", left=(lens,)),
    )
    assert walk.at("bench").parts == {lens: 1}
    assert walk.moved[2, 2].parts == {whole: 1, plastic: -1, lens: -1}


def _taken_back(*, over_a_close: bool, readings: tuple[Source, Source, Source]) -> MassWithReadings:
    """A box of two frames at a month's turn; then the first is taken back and a third put in."""
    first, second, third = readings
    walk = walked(
        step(1, "bench", "box", mg=first.mass_mg, subject="F-1", reading=first),
        step(2, "bench", "box", mg=second.mass_mg, subject="F-2", reading=second),
    )
    if over_a_close:
        walk = Replay(walk.carried(), apart=HOUSE, outside=WORLD)
    back = {"subject": "F-1", "reading": first, "undoes": (1, 1)}
    walk.follow(
        [
            step(3, "box", "bench", mg=first.mass_mg, **back),
            step(4, "bench", "box", mg=third.mass_mg, subject="F-3", reading=third),
        ]
    )
    return walk.at("box")


def test_what_is_taken_back_goes_with_the_reading_that_it_came_with() -> None:
    """By hand: own 40² + 30² = 2500 µg², common 9 + 3 = 12 µg: 2 x sqrt(2500 + 144) = 102.84.

    Carried over a close as one, the first reading is no longer told apart: its 30 µg count twice
    instead of not at all, 4300 µg², and 2 x sqrt(4300 + 144) = 133.33.
    """
    readings = (
        read(19_400, own_ug=30, shared_ug=12),
        read(18_300, own_ug=40, shared_ug=9),
        read(17_250, own_ug=30, shared_ug=3),
    )
    exact = _taken_back(over_a_close=False, readings=readings)
    assert exact.parts == {readings[1]: 1, readings[2]: 1}
    assert (exact.mass_mg, u_ug(exact)) == (35_550, 103)
    as_one = _taken_back(over_a_close=True, readings=readings)
    assert (as_one.mass_mg, u_ug(as_one)) == (35_550, 134)


@pytest.mark.slow
def test_the_interval_after_something_is_taken_back_is_neither_too_wide_nor_too_narrow() -> None:
    """Simulated, not published, as above. Over a close as one it would hold the truth too often:
    with the own parts of four readings for two, k = 2 comes to about 2.8, and to 99.5 %."""
    rng = random.Random("taken back")  # noqa: S311
    held = {False: 0, True: 0}
    for _ in range(3_000):
        masses_mg = [rng.uniform(17_000, 20_000) for _ in range(3)]
        readings = tuple(
            read(round(mg + rng.gauss(0, 30)), own_ug=30_000, shared_ug=0) for mg in masses_mg
        )
        for over_a_close in held:
            mass = _taken_back(over_a_close=over_a_close, readings=readings)
            missed_mg = abs(mass.mass_mg - masses_mg[1] - masses_mg[2])
            held[over_a_close] += missed_mg * 1000 <= u_ug(mass)
    assert held[False] / 3_000 == pytest.approx(0.9545, abs=0.012)
    assert held[True] / 3_000 == pytest.approx(0.9953, abs=0.005)


def test_what_is_empty_is_known_without_doubt_and_what_comes_then_by_itself() -> None:
    """100.000 g in, 60.000 g and 40.000 g out: three weighings differ, but nothing is left."""
    whole, some, rest, new = (read(mg) for mg in (100_000, 60_000, 40_000, 7_000))
    walk = Replay(apart=HOUSE, outside=WORLD, cleared=HOUSE | {"lot"})
    walk.follow(
        [
            step(1, "sellers", "lot", mg=100_000, reading=whole),
            step(2, "lot", "press", mg=60_000, reading=some),
            step(3, "lot", "press", mg=40_000, reading=rest),
        ]
    )
    assert walk.at("lot").parts == {}
    assert walk.at("press").parts == {some: 1, rest: 1}
    assert [account for account, _source in walk.carried().items() if account[0] == "lot"] == []
    walk.follow([step(4, "sellers", "lot", mg=7_000, reading=new)])
    assert walk.at("lot").parts == {new: 1}


def test_an_empty_place_that_was_carried_on_with_its_doubt_loses_it() -> None:
    kept = {("lot", ""): read(0), ("press", ""): read(0)}
    walk = Replay(kept, apart=HOUSE, outside=WORLD, cleared=HOUSE | {"lot"})
    assert set(walk.held) == {("press", "")}
