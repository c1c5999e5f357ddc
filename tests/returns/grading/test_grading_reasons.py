"""What a grading says beside its outcome: figures in its reasons, plans kept, limits met exactly.

Each stands here because a fault planted in the decision went unnoticed. Vectors are constructed.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from returns.grading.sums import Finding, Outcome, PolymerCheck, Stock, plans
from returns.grading.sums.allowed import Choice
from returns.grading.sums.costs import Costs
from tests.returns.grading.test_grading import (
    FRAME,
    NEW_TEMPLE,
    PRICES,
    STEP_UP,
    STOCK,
    STRIPPED,
    graded,
)

COSTS = Costs(
    labour_minor_per_minute=Fraction(40),
    postage_out_minor=300,
    material_credit_minor=0,
    replacement_minor=1_000,
    failure_minor=1_000,
    ceiling_minor=800,
)


def test_repair_says_what_it_expects_and_its_ceiling() -> None:
    grading = graded()
    assert grading.reasons[0].params == {"expected": 835, "ceiling": 1232}
    assert grading.figures.replacement_minor == 1541


def test_too_dear_says_what_it_expects_its_ceiling_and_what_would_have_tipped_it() -> None:
    grading = graded(remedies=[replace(STEP_UP, minutes=Fraction(20))])
    data = [(reason.key, dict(reason.params)) for reason in grading.reasons[:3]]
    assert grading.outcome is Outcome.REGRIND
    assert data == [
        ("over-ceiling", {"expected": 1235, "ceiling": 1232}),
        ("minutes-tip-over", {"minutes_max": 19}),
        ("odds-tip", {"odds_percent": "90.2"}),
    ]


def test_odds_are_said_to_the_tenth_of_a_percent_that_they_are_nearest_to() -> None:
    grading = graded(remedies=[replace(STEP_UP, minutes=Fraction(1801, 100))])
    assert grading.figures.break_even_odds_ppm == 837_551
    assert {reason.params.get("odds_percent") for reason in grading.reasons} == {None, "83.8"}


def test_waiting_names_each_part_that_is_missing_with_its_count() -> None:
    both = replace(STEP_UP, parts={"screw-m1.6": 2, "temple-left": 1})
    grading = graded(remedies=[both], stock=Stock({"screw-m1.6": 0, "temple-left": 0}))
    waiting = [reason for reason in grading.reasons if reason.key == "waiting-for-parts"]
    assert [reason.params["parts"] for reason in waiting] == ["2 x screw-m1.6, 1 x temple-left"]


def test_few_plans_are_all_kept_even_one_that_another_beats_in_everything() -> None:
    worse = replace(STEP_UP, key="worse", minutes=Fraction(11), odds=Fraction(8, 10))
    search = plans.search([Choice(STRIPPED, (STEP_UP, worse), ())], PRICES, STOCK, COSTS)
    assert [plan.remedies[0].key for plan in search.plans] == ["step-up", "worse"]
    assert search.is_whole


def test_of_many_plans_of_one_cost_the_likeliest_alone_is_kept_and_none_is_lost() -> None:
    odds = range(1, plans.PARTIAL_PLANS_MAX + 2)
    many = tuple(replace(NEW_TEMPLE, key=f"r{n}", odds=Fraction(n, 1_000)) for n in odds)
    search = plans.search([Choice(STRIPPED, many, ())], PRICES, STOCK, COSTS)
    assert [plan.remedies[0].key for plan in search.plans] == [f"r{odds[-1]}"]
    assert (search.is_whole, search.is_bounded) == (False, False)


def test_odds_needed_may_be_a_certainty_but_no_more() -> None:
    """Mending for 500 and posting for 300 is the ceiling of 800 if it always works."""
    assert COSTS.break_even_odds_ppm(Fraction(499)) == 998_572
    assert COSTS.break_even_odds_ppm(Fraction(500)) == 1_000_000
    assert COSTS.break_even_odds_ppm(Fraction(501)) is None


def test_plan_that_waits_for_parts_may_cost_the_ceiling_itself() -> None:
    nothing = Stock({"screw-m1.6": 0, "temple-left": 0})
    for ceiling, outcome in ((834, Outcome.REGRIND), (835, Outcome.HOLD)):
        prices = replace(PRICES, ceiling_minor=ceiling)
        assert graded(remedies=[STEP_UP], stock=nothing, prices=prices).outcome is outcome


def test_frame_of_unknown_polymer_is_held_and_says_first_why_it_is_not_mended() -> None:
    unknown = replace(FRAME, polymer=PolymerCheck.UNKNOWN)
    grading = graded(remedies=[replace(STEP_UP, minutes=Fraction(20))], frame=unknown)
    data = [reason.key for reason in grading.reasons]
    assert grading.outcome is Outcome.HOLD
    assert data.index("over-ceiling") < data.index("polymer-unknown")


def test_foreign_part_is_named_by_its_place() -> None:
    grading = graded(findings=[Finding("nose-pad", "foreign")])
    assert grading.reasons[-1].params == {"component": "nose-pad"}
