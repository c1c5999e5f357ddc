"""Where each number tips a grading: by hand, and put back into the decision. Constructed."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.grading.sums import (
    Grading,
    Number,
    PolymerCheck,
    Stock,
    Threshold,
    Weighing,
    Wish,
    grade,
    thresholds,
)
from returns.grading.sums.costs import stripping_minor
from returns.grading.sums.plans import PARTIAL_PLANS_MAX
from returns.grading.sums.sensitivity import ODDS_STEP_PPM, RANGE_FACTOR, Way
from tests.returns.grading.test_grading import FRAME, NEW_TEMPLE, PRICES, STEP_UP, cases, graded


def told(strip_minutes: int = 0, **changes: Any) -> dict[tuple[str, str], Threshold]:
    facts = {"prices": PRICES} | changes
    found = graded(**facts)
    weighing = Weighing(found.weighed, facts["prices"], FRAME.mass_mg, strip_minutes)
    return {(one.number.value, one.subject): one for one in thresholds(weighing, found.weighed[0])}


def test_tipping_points_of_one_plan_by_hand() -> None:
    """Expected 400 + 10 + 270 + 154.1 = 834.1 against a ceiling of 1232: 397.9 to spare.

    Minutes: 397.9 / 40 = 9.9 more than 10. Odds: (410 + 1541 - 1232) / 1241 = 57.94 %. Screw:
    397 more than 10. Wage: (397.9 + 400) * 6 = 4787.4. Ceiling: 834 is below 834.1.
    """
    found = told(remedies=[STEP_UP])
    assert found["minutes", "step-up"].at == 20
    assert found["odds_ppm", "step-up"].at == 579_000
    assert found["labour_minor_per_hour", ""].at == 4_788
    assert found["ceiling_minor", ""].at == 834
    assert {one.then for one in found.values() if one.at is not None} == {Way.REPLACE}
    # 10 + 397.9 = 407.9 lies beyond four times the price of a screw, which is 10.
    assert found["part_minor", "screw-m1.6"].at is None
    # A replacement of 972: 680 + 0.1 x 972 = 777.2 is over 0.8 x 972, which is 777 in whole cents.
    assert found["new_frame_cost_minor", ""].at == 1200 - (1541 - 972)


def test_nearest_comes_first_and_what_never_tips_comes_last() -> None:
    found = list(told(remedies=[STEP_UP]).values())
    off = [one.distance for one in found]
    near = [distance for distance in off if distance is not None]
    assert near == sorted(near)
    assert off[len(near) :] == [None] * (len(off) - len(near))
    assert found[0].number is Number.CEILING_MINOR
    assert found[0].distance == Fraction(1232 - 834, 1232)


def test_another_plan_that_stays_within_the_ceiling_keeps_the_decision() -> None:
    """However long the step-up takes, a new arm at 850 is still within 1232."""
    found = told(remedies=[STEP_UP, NEW_TEMPLE])
    assert found["minutes", "step-up"].at is None
    assert found["odds_ppm", "step-up"].at is None
    assert found["ceiling_minor", ""].at == 834


def test_plan_out_of_stock_is_waited_for_where_the_one_in_stock_gets_too_dear() -> None:
    found = told(remedies=[STEP_UP, NEW_TEMPLE], stock=Stock({"screw-m1.6": 1}))
    assert (found["minutes", "step-up"].at, found["minutes", "step-up"].then) == (20, Way.WAIT)


@pytest.mark.parametrize(("ceiling", "at", "then"), [(840, 834, Way.REPLACE), (845, 850, Way.MEND)])
def test_nearer_one_of_two_tipping_values_is_told(ceiling: int, at: int, then: Way) -> None:
    """At 834.1 a frame waits for its screw; from 850 on a new arm that is in stock is paid."""
    prices = replace(PRICES, ceiling_minor=ceiling)
    found = told(remedies=[STEP_UP, NEW_TEMPLE], stock=Stock({"temple-left": 1}), prices=prices)
    assert (found["ceiling_minor", ""].at, found["ceiling_minor", ""].then) == (at, then)


def test_frame_over_the_ceiling_is_told_when_mending_would_pay() -> None:
    found = told(remedies=[replace(STEP_UP, minutes=Fraction(22))])
    assert (found["minutes", "step-up"].at, found["minutes", "step-up"].then) == (19, Way.MEND)


def test_wage_moves_what_taking_apart_costs_too() -> None:
    """With 25 minutes of stripping, 1000 of the replacement is wages, which lifts the ceiling."""
    prices = replace(PRICES, regrind_cost_minor=stripping_minor(2400, 25))
    with_it = told(25, remedies=[STEP_UP], prices=prices)
    without = told(0, remedies=[STEP_UP], prices=prices)
    one, other = with_it["labour_minor_per_hour", ""], without["labour_minor_per_hour", ""]
    assert one.at is None
    assert other.at is not None


def test_number_that_is_nothing_today_has_no_range() -> None:
    found = told(remedies=[replace(STEP_UP, minutes=Fraction(0), odds=Fraction(0), parts={})])
    assert found["minutes", "step-up"].at is None
    assert found["odds_ppm", "step-up"].distance is None


def test_nothing_is_told_where_a_limit_decided_or_plans_were_left_out() -> None:
    assert graded(remedies=[]).weighed == ()
    many = [replace(STEP_UP, key=str(n)) for n in range(PARTIAL_PLANS_MAX)]
    assert len(graded(remedies=many).weighed) == PARTIAL_PLANS_MAX
    many.append(replace(STEP_UP, key="one-more"))
    assert graded(remedies=many).weighed == ()


def put_back(case: dict[str, Any], one: Threshold, value: Fraction, strip_minutes: int) -> Grading:
    """The whole decision again with one number at another value."""
    prices, remedies = case["prices"], list(case["remedies"])
    if one.number in (Number.MINUTES, Number.ODDS_PPM):
        ppm = one.number is Number.ODDS_PPM
        change = {"odds": value / 1_000_000} if ppm else {"minutes": value}
        remedies = [replace(r, **change) if r.key == one.subject else r for r in remedies]
    elif one.number is Number.PART_MINOR:
        prices = replace(prices, part_minor={**prices.part_minor, one.subject: int(value)})
    elif one.number is Number.LABOUR_MINOR_PER_HOUR:
        prices = replace(
            prices,
            labour_minor_per_hour=int(value),
            regrind_cost_minor=stripping_minor(int(value), strip_minutes),
        )
    else:
        prices = replace(prices, **{one.number.value: int(value)})
    return grade(**(case | {"prices": prices, "remedies": remedies}))


def way(grading: Grading) -> Way:
    """Read off the whole decision: a frame that waits for parts is held with a plan."""
    if grading.disposition.value == "mend":
        return Way.MEND
    return Way.WAIT if grading.plan else Way.REPLACE


@given(cases(), st.integers(0, 30), st.integers(0, 999), st.integers(0, 1))
def test_each_tipping_point_put_back_into_the_decision_turns_it(
    case: dict[str, Any], strip_minutes: int, pick: int, side: int
) -> None:
    """At the value another way wins, and the one named; one step nearer to today it does not."""
    labour = case["prices"].labour_minor_per_hour
    strip_minor = stripping_minor(labour, strip_minutes)
    case = case | {
        "prices": replace(case["prices"], regrind_cost_minor=strip_minor),
        "frame": replace(case["frame"], polymer=PolymerCheck.OURS, wish=Wish.REGRIND),
    }
    found = grade(**case)
    if not found.weighed:
        return
    weighing = Weighing(found.weighed, case["prices"], case["frame"].mass_mg, strip_minutes)
    assert weighing.way() is way(found)
    all_of_them = thresholds(weighing, found.weighed[0])
    one = all_of_them[pick % len(all_of_them)]
    step = ODDS_STEP_PPM if one.number is Number.ODDS_PPM else 1
    if one.at is None:
        end = Fraction(1_000_000) if step > 1 else one.now * RANGE_FACTOR
        same = (Fraction(0), Fraction(end // step * step))[side] if one.now else one.now
        assert way(put_back(case, one, same, strip_minutes)) is way(found)
        return
    at = Fraction(one.at)
    assert one.then is way(put_back(case, one, at, strip_minutes)) is not way(found)
    nearer = max(at - step, one.now) if at > one.now else min(at + step, one.now)
    assert way(put_back(case, one, nearer, strip_minutes)) is way(found)


@given(cases())
def test_no_nearer_value_turns_a_number_that_acts_one_way_only(case: dict[str, Any]) -> None:
    """Minutes, wages and ceilings: each value between today's and the one told is tried."""
    ours = replace(case["frame"], polymer=PolymerCheck.OURS, wish=Wish.REGRIND)
    case = case | {"frame": ours}
    found = grade(**case)
    if not found.weighed:
        return
    weighing = Weighing(found.weighed, case["prices"], ours.mass_mg)
    for one in thresholds(weighing, found.weighed[0]):
        if one.number is Number.MINUTES and one.at is not None:
            off = abs(one.at - one.now)
            span = [n for n in range(int(one.now + off) + 1) if 0 < abs(n - one.now) < off]
            assert all(way(put_back(case, one, Fraction(n), 0)) is way(found) for n in span)


@pytest.mark.parametrize("number", list(Number))
def test_every_number_of_a_plan_is_told(number: Number) -> None:
    assert number in {one.number for one in told(remedies=[STEP_UP]).values()}
