"""The heat of a box told from its movements. All vectors are constructed."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from inventory.material.sums.box_heat import Step, replay
from inventory.material.sums.heat import HeatSpread, blend, of_passes

spreads = st.integers(0, 6).map(of_passes) | st.tuples(
    st.integers(0, 6), st.integers(1, 999_999)
).map(lambda pair: HeatSpread(((pair[0], pair[1]), (pair[0] + 3, 1_000_000 - pair[1]))))


def test_nothing_in_nothing_known() -> None:
    assert replay([]) is None
    assert replay([Step(500)]) is None


def test_two_fills_blend_by_mass() -> None:
    steps = [Step(300, of_passes(1)), Step(100, of_passes(5))]
    assert replay(steps) == HeatSpread(((1, 750_000), (5, 250_000)))


def test_withdrawal_keeps_the_spread_and_weighs_less_against_what_follows() -> None:
    steps = [Step(300, of_passes(1)), Step(-200), Step(100, of_passes(5))]
    assert replay(steps) == HeatSpread(((1, 500_000), (5, 500_000)))


def test_emptied_box_forgets() -> None:
    assert replay([Step(300, of_passes(4)), Step(-300)]) is None
    assert replay([Step(300, of_passes(4)), Step(-300), Step(7, of_passes(1))]) == of_passes(1)


def test_reversed_fill_is_as_if_it_had_not_been() -> None:
    steps = [Step(300, of_passes(1)), Step(100, of_passes(5)), Step(-100, of_passes(5))]
    assert replay(steps) == of_passes(1)


def test_counted_up_mass_takes_the_spread_that_is_there() -> None:
    steps = [Step(300, of_passes(1)), Step(100), Step(400, of_passes(3))]
    assert replay(steps) == HeatSpread(((1, 500_000), (3, 500_000)))


def test_unknown_first_mass_is_read_as_the_first_that_is_known() -> None:
    steps = [Step(100), Step(100, of_passes(2)), Step(200, of_passes(4))]
    assert replay(steps) == HeatSpread(((2, 500_000), (4, 500_000)))


@given(st.lists(st.tuples(spreads, st.integers(1, 10**9)), min_size=1, max_size=8))
def test_fills_alone_are_one_blend(fills: list[tuple[HeatSpread, int]]) -> None:
    assert replay([Step(mass, spread) for spread, mass in fills]) == blend(fills)


@given(
    st.lists(st.tuples(spreads, st.integers(1, 10**9)), min_size=1, max_size=5),
    st.integers(1, 10**9),
)
def test_withdrawals_never_change_a_spread(
    fills: list[tuple[HeatSpread, int]], out_mg: int
) -> None:
    steps = [Step(mass, spread) for spread, mass in fills]
    whole = sum(mass for _spread, mass in fills)
    before, after = replay(steps), replay([*steps, Step(-out_mg)])
    if out_mg >= whole:
        assert after is None
    elif whole - out_mg >= 1_000:
        assert before is not None
        assert after is not None
        assert abs(before.mean_passes - after.mean_passes) < 1e-4
