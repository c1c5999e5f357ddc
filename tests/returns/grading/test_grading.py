"""The decision: worked cases by hand and properties. All vectors here are constructed."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from returns.grading.sums import (
    Ban,
    Disposition,
    Finding,
    FrameFacts,
    Grading,
    GradingError,
    Limits,
    Outcome,
    PolymerCheck,
    Prices,
    Remedy,
    Stock,
    Wish,
    grade,
    plans,
)
from returns.story.sums.states import FrameState

HINGE = "temple.left"
STRIPPED = Finding(HINGE, "stripped_hole")
PRICES = Prices(
    labour_minor_per_hour=2400,
    postage_out_minor=300,
    postage_in_minor=280,
    new_frame_cost_minor=1200,
    material_minor_per_kg=500,
    regrind_cost_minor=50,
    part_minor={"screw-m1.6": 10, "temple-left": 350},
    repair_ceiling_share_ppm=800_000,
)
STOCK = Stock({"screw-m1.6": 5, "temple-left": 1})
FRAME = FrameFacts(mass_mg=20_000, polymer=PolymerCheck.OURS, model_known=True, wish=Wish.REGRIND)
STEP_UP = Remedy(
    key="step-up",
    component_key=HINGE,
    defect_keys=frozenset({"stripped_hole"}),
    method="step_up",
    minutes=Fraction(10),
    odds=Fraction(9, 10),
    parts={"screw-m1.6": 1},
)
NEW_TEMPLE = Remedy(
    key="new-temple",
    component_key=HINGE,
    defect_keys=frozenset({"stripped_hole", "scuffed", "hole_offset", "cracked_at_pivot"}),
    method="replace",
    minutes=Fraction(5),
    odds=Fraction(1),
    parts={"temple-left": 1},
)


def graded(**changes: object) -> Grading:
    facts: dict[str, object] = {
        "findings": [STRIPPED],
        "remedies": [STEP_UP, NEW_TEMPLE],
        "prices": PRICES,
        "stock": STOCK,
        "frame": FRAME,
    }
    return grade(**(facts | changes))  # type: ignore[arg-type]


def keys(grading: Grading) -> list[str]:
    return [reason.key for reason in grading.reasons]


def test_cheapest_plan_within_the_ceiling_is_chosen_with_sums_by_hand() -> None:
    """Replacement 50 + 1200 + 300 - 9 (20 g x 95 % x 5.00/kg = 9.5) = 1541; 80 % of it is 1232.

    Step up: 400 + 10 + 0.9 x 300 + 0.1 x 1541 = 834.1. New temple: 200 + 350 + 300 = 850.
    """
    grading = graded()
    assert grading.outcome is Outcome.REPAIR
    assert grading.disposition is Disposition.MEND
    assert grading.figures.material_credit_minor == 9
    assert grading.figures.replacement_minor == 1541
    assert grading.figures.ceiling_minor == 1232
    assert grading.plan is not None
    assert grading.plan.remedies == (STEP_UP,)
    sums = grading.plan.sums
    assert (sums.labour_minor, sums.parts_minor, sums.success_postage_minor) == (400, 10, 270)
    assert (sums.failure_minor, sums.expected_minor, sums.odds_ppm) == (155, 835, 900_000)
    assert [plan.sums.expected_minor for plan in grading.alternatives] == [850]
    assert keys(grading) == ["cheapest-within-ceiling", "minutes-tip", "odds-tip"]


def test_odds_that_never_tip_are_told_without_a_figure() -> None:
    generous = graded(prices=replace(PRICES, repair_ceiling_share_ppm=10_000_000))
    assert keys(generous) == ["cheapest-within-ceiling", "minutes-tip", "any-odds"]


def test_tipping_minutes_and_odds_by_hand() -> None:
    """(1232 - 10 - 270 - 154.1) / 40 = 19.9 minutes; (410 + 1541 - 1232) / 1241 = 57.94 %."""
    grading = graded(remedies=[STEP_UP])
    assert grading.figures.minutes_max == 19
    assert grading.figures.break_even_odds_ppm == 579_372
    assert "more than 19 minutes" in grading.reasons[1].text
    assert "57.9 %" in grading.reasons[2].text


@pytest.mark.parametrize(("minutes", "outcome"), [(19, Outcome.REPAIR), (20, Outcome.REGRIND)])
def test_tipping_minutes_are_where_the_outcome_tips(minutes: int, outcome: Outcome) -> None:
    slow = replace(STEP_UP, minutes=Fraction(minutes))
    assert graded(remedies=[slow]).outcome is outcome


@pytest.mark.parametrize(
    ("odds_ppm", "outcome"),
    [(579_371, Outcome.REGRIND), (579_372, Outcome.REPAIR), (579_373, Outcome.REPAIR)],
)
def test_break_even_odds_are_where_the_outcome_tips(odds_ppm: int, outcome: Outcome) -> None:
    unsure = replace(STEP_UP, odds=Fraction(odds_ppm, 1_000_000))
    assert graded(remedies=[unsure]).outcome is outcome


@pytest.mark.parametrize(
    ("ceiling", "outcome"),
    [(834, Outcome.REGRIND), (835, Outcome.REPAIR), (836, Outcome.REPAIR)],
)
def test_ceiling_one_below_at_and_above_the_expected_cost(ceiling: int, outcome: Outcome) -> None:
    grading = graded(remedies=[STEP_UP], prices=replace(PRICES, ceiling_minor=ceiling))
    assert grading.outcome is outcome


def test_failing_never_beats_success_though_flake_be_dearer_than_a_frame() -> None:
    """A replacement of 50 + 1200 + 300 - 1520 = 30 is below postage: 410 + 300 all the same."""
    dear = replace(PRICES, material_minor_per_kg=80_000, ceiling_minor=1000)
    grading = graded(remedies=[STEP_UP], prices=dear)
    assert grading.figures.replacement_minor == 30
    assert grading.figures.expected_minor == 710


def test_over_the_ceiling_is_ground_and_says_why() -> None:
    grading = graded(prices=replace(PRICES, ceiling_minor=500))
    assert (grading.outcome, grading.disposition) == (Outcome.REGRIND, Disposition.GRIND)
    assert grading.plan is None
    assert keys(grading)[0] == "over-ceiling"
    assert len(grading.alternatives) == 2


def test_customer_who_wants_it_back_gets_an_unmendable_frame_posted_back() -> None:
    grading = graded(remedies=[], frame=replace(FRAME, wish=Wish.POST_BACK))
    assert (grading.outcome, grading.disposition) == (Outcome.REGRIND, Disposition.POST_BACK)
    assert grading.disposition.frame_state is FrameState.TO_RETURN
    assert keys(grading) == ["no-remedy", "post-back"]


def test_no_recorded_wish_is_never_ground() -> None:
    grading = graded(remedies=[], frame=replace(FRAME, wish=None))
    assert grading.outcome is Outcome.HOLD
    assert keys(grading) == ["no-remedy", "wish-unknown"]


def test_unidentified_plastic_may_be_mended_but_not_ground() -> None:
    unknown = replace(FRAME, polymer=PolymerCheck.UNKNOWN)
    assert graded(frame=unknown).outcome is Outcome.REPAIR
    grading = graded(frame=unknown, remedies=[])
    assert grading.outcome is Outcome.HOLD
    assert "polymer-unknown" in keys(grading)


@pytest.mark.parametrize(
    ("wish", "disposition"),
    [
        (Wish.REGRIND, Disposition.SET_ASIDE),
        (Wish.POST_BACK, Disposition.POST_BACK),
        (None, Disposition.SET_ASIDE),
    ],
)
def test_foreign_plastic_is_held_or_posted_back(
    wish: Wish | None, disposition: Disposition
) -> None:
    grading = graded(frame=replace(FRAME, polymer=PolymerCheck.FOREIGN, wish=wish))
    assert (grading.outcome, grading.disposition) == (Outcome.HOLD, disposition)
    assert keys(grading)[0] == "foreign-polymer"


def test_unknown_model_is_held() -> None:
    assert keys(graded(frame=replace(FRAME, model_known=False))) == ["model-unknown"]


def test_no_findings_is_repair_with_nothing_to_do_only_when_found_sound() -> None:
    sound = graded(findings=[], frame=replace(FRAME, found_sound=True))
    assert (sound.outcome, sound.plan, keys(sound)) == (Outcome.REPAIR, None, ["no-fault-found"])
    unseen = graded(findings=[])
    assert (unseen.outcome, keys(unseen)) == (Outcome.HOLD, ["nothing-noted"])


def test_foreign_part_is_to_come_off_before_the_box() -> None:
    grading = graded(findings=[Finding("nose-pad", "foreign")])
    assert grading.disposition is Disposition.GRIND
    assert keys(grading) == ["no-remedy", "foreign-part"]


def test_glue_is_never_used_on_a_crack_at_the_pivot_however_cheap() -> None:
    """Common practice, no source."""
    glue = Remedy("glue", HINGE, frozenset({"cracked_at_pivot"}), "glue", Fraction(1), Fraction(1))
    grading = graded(findings=[Finding(HINGE, "cracked_at_pivot")], remedies=[glue])
    assert grading.outcome is Outcome.REGRIND
    assert [refusal.reason.key for refusal in grading.refusals] == ["banned-method"]
    beside = graded(findings=[Finding(HINGE, "cracked_at_pivot")], remedies=[glue, NEW_TEMPLE])
    assert beside.plan is not None
    assert beside.plan.remedies == (NEW_TEMPLE,)


@pytest.mark.parametrize(
    ("offset", "outcome"),
    [
        ("0.09", Outcome.REPAIR),
        ("0.1", Outcome.REGRIND),
        ("0.11", Outcome.REGRIND),
    ],
)
def test_hole_offset_one_below_at_and_above_the_limit(offset: str, outcome: Outcome) -> None:
    """0.1 mm: common practice, no source."""
    drill = replace(STEP_UP, defect_keys=frozenset({"hole_offset"}))
    finding = Finding(HINGE, "hole_offset", measured_mm=Decimal(offset))
    assert graded(findings=[finding], remedies=[drill]).outcome is outcome


def test_hole_offset_beyond_the_limit_may_still_be_answered_by_a_new_part() -> None:
    finding = Finding(HINGE, "hole_offset", measured_mm=Decimal("0.3"))
    assert graded(findings=[finding], remedies=[NEW_TEMPLE]).outcome is Outcome.REPAIR


def test_unmeasured_offset_is_held_for_measuring() -> None:
    drill = replace(STEP_UP, defect_keys=frozenset({"hole_offset"}))
    grading = graded(findings=[Finding(HINGE, "hole_offset")], remedies=[drill])
    assert (grading.outcome, keys(grading)) == (Outcome.HOLD, ["needs-measuring"])


@pytest.mark.parametrize(
    ("wall", "outcome"),
    [("0.79", Outcome.REGRIND), ("0.8", Outcome.REPAIR), ("0.81", Outcome.REPAIR)],
)
def test_wall_one_below_at_and_above_what_the_remedy_needs(wall: str, outcome: Outcome) -> None:
    walled = replace(STEP_UP, wall_min_mm=Decimal("0.8"))
    frame = replace(FRAME, wall_mm={HINGE: Decimal(wall)})
    assert graded(remedies=[walled], frame=frame).outcome is outcome
    assert graded(remedies=[walled]).outcome is Outcome.HOLD


@pytest.mark.parametrize(
    ("times", "outcome"), [(1, Outcome.REPAIR), (2, Outcome.REGRIND), (3, Outcome.REGRIND)]
)
def test_remedy_tried_one_below_at_and_above_its_limit(times: int, outcome: Outcome) -> None:
    limited = replace(STEP_UP, times_max=2)
    frame = replace(FRAME, times_done={"step-up": times})
    assert graded(remedies=[limited], frame=frame).outcome is outcome


@pytest.mark.parametrize(
    ("mends", "outcome"), [(2, Outcome.REPAIR), (3, Outcome.REGRIND), (4, Outcome.REGRIND)]
)
def test_mends_one_below_at_and_above_the_limit(mends: int, outcome: Outcome) -> None:
    assert graded(frame=replace(FRAME, mends=mends)).outcome is outcome


@pytest.mark.parametrize(
    ("severity", "outcome"),
    [(1, Outcome.REPAIR), (2, Outcome.REPAIR), (3, Outcome.REGRIND), (None, Outcome.HOLD)],
)
def test_severity_up_to_the_remedys_limit(severity: int | None, outcome: Outcome) -> None:
    light = replace(STEP_UP, severity_max=2)
    finding = replace(STRIPPED, severity=severity)
    assert graded(findings=[finding], remedies=[light]).outcome is outcome


def test_missing_part_makes_the_next_best_plan_win() -> None:
    grading = graded(stock=Stock({"temple-left": 1}))
    assert grading.plan is not None
    assert grading.plan.remedies == (NEW_TEMPLE,)


def test_no_parts_at_all_waits_for_the_cheapest_plan_and_names_what_is_missing() -> None:
    grading = graded(stock=Stock())
    assert (grading.outcome, grading.disposition) == (Outcome.HOLD, Disposition.WAIT)
    assert "1 x screw-m1.6" in grading.reasons[0].text
    assert grading.plan is not None
    assert grading.plan.missing == {"screw-m1.6": 1}


def test_parts_are_not_waited_for_when_mending_is_over_the_ceiling_anyway() -> None:
    grading = graded(stock=Stock(), prices=replace(PRICES, ceiling_minor=500))
    assert grading.outcome is Outcome.REGRIND


def two_holes(screws: int) -> Grading:
    left = STEP_UP
    right = replace(STEP_UP, key="step-up-right", component_key="temple.right")
    bush = Remedy(
        "bush", "temple.right", frozenset({"stripped_hole"}), "bush", Fraction(12), Fraction(9, 10)
    )
    return graded(
        findings=[STRIPPED, Finding("temple.right", "stripped_hole")],
        remedies=[left, right, bush],
        stock=Stock({"screw-m1.6": screws}),
        prices=replace(PRICES, repair_ceiling_share_ppm=2_000_000),
    )


def test_shared_scarce_part_is_spent_once_where_it_saves_most() -> None:
    assert two_holes(2).plan is not None
    assert {r.key for r in two_holes(2).plan.remedies} == {"step-up", "step-up-right"}  # type: ignore[union-attr]
    assert {r.key for r in two_holes(1).plan.remedies} == {"step-up", "bush"}  # type: ignore[union-attr]
    assert two_holes(0).outcome is Outcome.HOLD


def test_odds_multiply_over_two_findings() -> None:
    plan = two_holes(2).plan
    assert plan is not None
    assert plan.odds == Fraction(81, 100)


def test_one_remedy_for_two_findings_on_a_component_costs_once() -> None:
    grading = graded(findings=[STRIPPED, Finding(HINGE, "scuffed")], remedies=[NEW_TEMPLE])
    assert grading.plan is not None
    assert len(grading.plan.steps) == 2
    assert grading.plan.parts == {"temple-left": 1}
    assert grading.plan.sums.expected_minor == 850


def test_sure_dear_remedy_wins_beside_sure_ones_though_not_alone_by_cost_of_mending() -> None:
    """Spending more on mending is right when failing is dear: odds enter, not only minutes."""
    cheap = replace(STEP_UP, key="cheap", minutes=Fraction(5), odds=Fraction(1, 2))
    grading = graded(remedies=[cheap, NEW_TEMPLE])
    assert grading.plan is not None
    assert grading.plan.remedies == (NEW_TEMPLE,)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"frame": replace(FRAME, found_sound=True)}, "sound-with-findings"),
        ({"findings": [STRIPPED, STRIPPED]}, "finding-twice"),
        ({"findings": [Finding(str(n), "x") for n in range(25)]}, "too-many-findings"),
        ({"remedies": [STEP_UP, STEP_UP]}, "remedy-twice"),
        ({"prices": replace(PRICES, part_minor={})}, "part-unpriced"),
    ],
)
def test_clashing_facts_are_refused(changes: dict[str, object], code: str) -> None:
    with pytest.raises(GradingError) as refused:
        graded(**changes)
    assert refused.value.code == code
    assert str(refused.value)


def test_nonsense_facts_are_refused_where_they_are_made() -> None:
    for make, code in [
        (lambda: replace(STEP_UP, odds=Fraction(11, 10)), "remedy-odds"),
        (lambda: replace(STEP_UP, minutes=Fraction(-1)), "negative"),
        (lambda: replace(STEP_UP, minutes=1.5), "not-exact"),
        (lambda: replace(STEP_UP, parts={"screw-m1.6": 0}), "remedy-parts"),
        (lambda: replace(PRICES, postage_out_minor=-1), "negative"),
        (lambda: replace(PRICES, recovery_share_ppm=1_000_001), "recovery-share"),
        (lambda: replace(FRAME, mass_mg=0), "frame-mass"),
        (lambda: replace(FRAME, wall_mm={"x": Decimal(-1)}), "negative"),
        (lambda: Finding("x", "y", severity=4), "finding-severity"),
        (lambda: Stock({"x": -1}), "negative"),
        (lambda: Limits(mends_max=-1), "negative"),
    ]:
        with pytest.raises(GradingError) as refused:
            make()
        assert refused.value.code == code


@pytest.mark.slow
def test_twenty_four_findings_with_many_remedies_stay_bounded() -> None:
    findings = [Finding(f"c{n}", "worn") for n in range(24)]
    remedies = [
        Remedy(
            f"r{n}-{m}",
            f"c{n}",
            frozenset({"worn"}),
            "m",
            Fraction(m * m + n + 1, 7),
            Fraction(90 + m, 100),
        )
        for n in range(24)
        for m in range(8)
    ]
    grading = graded(
        findings=findings,
        remedies=remedies,
        prices=replace(PRICES, ceiling_minor=10**6),
    )
    assert grading.outcome is Outcome.REPAIR
    assert len(grading.alternatives) <= 8


odds = st.fractions(min_value=0, max_value=1, max_denominator=20)
few_minutes = st.fractions(min_value=0, max_value=60, max_denominator=4)


WORN, SCUFFED = frozenset({"worn"}), frozenset({"scuffed"})


@st.composite
def cases(draw: st.DrawFn) -> dict[str, object]:
    components = draw(st.lists(st.sampled_from("abcd"), min_size=1, max_size=3, unique=True))
    remedies = [
        Remedy(
            f"{component}-{place}",
            component,
            draw(st.sampled_from([WORN, SCUFFED, WORN | SCUFFED])),
            draw(st.sampled_from(["glue", "replace"])),
            draw(few_minutes),
            draw(odds),
            draw(st.dictionaries(st.sampled_from(["p", "q"]), st.integers(1, 2))),
        )
        for component in components
        for place in range(draw(st.integers(0, 3)))
    ]
    return {
        "findings": [
            Finding(component, defect)
            for component in components
            for defect in sorted(draw(st.sampled_from([WORN, SCUFFED, WORN | SCUFFED])))
        ],
        "remedies": remedies,
        "prices": Prices(
            labour_minor_per_hour=draw(st.integers(0, 5000)),
            postage_out_minor=draw(st.integers(0, 500)),
            new_frame_cost_minor=draw(st.integers(0, 3000)),
            material_minor_per_kg=draw(st.integers(0, 90_000)),
            regrind_cost_minor=draw(st.integers(0, 200)),
            part_minor={"p": draw(st.integers(0, 300)), "q": draw(st.integers(0, 300))},
            repair_ceiling_share_ppm=draw(st.integers(0, 1_500_000)),
        ),
        "stock": Stock({"p": draw(st.integers(0, 3)), "q": draw(st.integers(0, 3))}),
        "frame": FrameFacts(
            mass_mg=draw(st.integers(1, 60_000)),
            polymer=draw(st.sampled_from(list(PolymerCheck))),
            model_known=True,
            wish=draw(st.sampled_from([*Wish, None])),
        ),
    }


KEENNESS = {Outcome.REPAIR: 2, Outcome.HOLD: 1, Outcome.REGRIND: 0}


@given(cases(), st.integers(0, 99), few_minutes)
def test_raising_minutes_never_makes_repair_more_attractive(
    case: dict[str, object], place: int, more: Fraction
) -> None:
    ours = replace(case["frame"], polymer=PolymerCheck.OURS, wish=Wish.REGRIND)  # type: ignore[type-var]
    case = case | {"frame": ours}
    remedies = list(case["remedies"])  # type: ignore[call-overload]
    before = graded(**case)
    if remedies:
        slow = remedies[place % len(remedies)]
        remedies[place % len(remedies)] = replace(slow, minutes=slow.minutes + more)
    after = graded(**(case | {"remedies": remedies}))
    assert KEENNESS[after.outcome] <= KEENNESS[before.outcome]
    if before.figures.expected_minor is not None and after.outcome == before.outcome:
        assert after.figures.expected_minor is not None
        assert after.figures.expected_minor >= before.figures.expected_minor


@given(cases())
def test_limits_always_overrule_money(case: dict[str, object]) -> None:
    """With glue banned no plan glues; with the mends used up nothing is mended, even for free."""
    banned = Limits(bans=(Ban("worn", "glue"), Ban("scuffed", "glue")))
    free = replace(case["prices"], labour_minor_per_hour=0, part_minor={"p": 0, "q": 0})  # type: ignore[type-var]
    grading = graded(**(case | {"limits": banned, "prices": free}))
    plans = [*grading.alternatives, *([grading.plan] if grading.plan else [])]
    assert all(remedy.method != "glue" for plan in plans for remedy in plan.remedies)
    used_up = graded(**(case | {"limits": Limits(mends_max=0), "prices": free}))
    assert used_up.outcome is not Outcome.REPAIR


@given(cases())
def test_nothing_is_ground_unless_ours_and_wished(case: dict[str, object]) -> None:
    frame = case["frame"]
    grading = graded(**case)
    if grading.disposition is Disposition.GRIND:
        assert frame.polymer is PolymerCheck.OURS  # type: ignore[attr-defined]
        assert frame.wish is Wish.REGRIND  # type: ignore[attr-defined]
    if frame.polymer is PolymerCheck.FOREIGN:  # type: ignore[attr-defined]
        assert grading.outcome is Outcome.HOLD


@given(cases())
def test_reasons_are_never_empty_and_sums_tie(case: dict[str, object]) -> None:
    grading = graded(**case)
    assert grading.reasons
    assert all(reason.text for reason in grading.reasons)
    figures = grading.figures
    assert figures.replacement_minor == (
        figures.new_frame_cost_minor
        + figures.regrind_cost_minor
        + figures.postage_out_minor
        - figures.material_credit_minor
    )
    for plan in [*grading.alternatives, *([grading.plan] if grading.plan else [])]:
        sums = plan.sums
        assert sums.expected_minor == (
            sums.mend_minor + sums.success_postage_minor + sums.failure_minor
        )
        assert min(sums.labour_minor, sums.success_postage_minor, sums.failure_minor) >= 0


@given(cases())
def test_chosen_plan_is_in_stock_within_the_ceiling_and_cheapest(case: dict[str, object]) -> None:
    grading = graded(**case)
    if grading.outcome is not Outcome.REPAIR:
        return
    assert grading.plan is not None
    assert not grading.plan.missing
    assert grading.plan.sums.expected_minor <= grading.figures.ceiling_minor
    for other in grading.alternatives:
        if not other.missing:
            assert other.sums.expected_minor >= grading.plan.sums.expected_minor


@given(cases())
def test_same_facts_give_the_same_grading_whatever_their_order(case: dict[str, object]) -> None:
    reversed_case = case | {"remedies": list(reversed(case["remedies"]))}  # type: ignore[call-overload]
    assert graded(**case).outcome == graded(**reversed_case).outcome
    one, other = graded(**case).plan, graded(**reversed_case).plan
    assert (one and one.remedies) == (other and other.remedies)


@settings(max_examples=30)
@given(cases())
def test_dropping_beaten_partial_plans_loses_no_best_plan(case: dict[str, object]) -> None:
    """Force the dropping at every step and compare with keeping everything."""
    kept = graded(**case)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plans, "PARTIAL_PLANS_MAX", 1)
        patch.setattr(plans, "_likeliest", lambda partials, _: partials)
        dropped = graded(**case)
    assert dropped.outcome == kept.outcome
    assert dropped.figures.expected_minor == kept.figures.expected_minor


def test_dropping_keeps_plans_that_are_easier_on_scarce_parts_or_surer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(plans, "PARTIAL_PLANS_MAX", 1)
    monkeypatch.setattr(plans, "_likeliest", lambda partials, _: partials)
    scarce = two_holes(1)
    assert scarce.plan is not None
    assert {remedy.key for remedy in scarce.plan.remedies} == {"step-up", "bush"}
    cheap = replace(STEP_UP, key="cheap", minutes=Fraction(5), odds=Fraction(1, 2))
    surer = graded(remedies=[cheap, NEW_TEMPLE])
    assert surer.plan is not None
    assert surer.plan.remedies == (NEW_TEMPLE,)


def test_leaving_plans_out_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(plans, "PARTIAL_PLANS_MAX", 1)
    sure = replace(NEW_TEMPLE, parts={})
    quick = replace(STEP_UP, minutes=Fraction(1))
    assert keys(graded(remedies=[quick, sure]))[-1] == "search-bounded"
