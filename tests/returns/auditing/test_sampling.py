from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.auditing.sums import AQLS, Plan, acceptance_chance_in_lot, code_letter, plan
from returns.figures.claims.sums.claims import InputRefused

AUDIT = Plan(sample=20, accept=1)


@given(lot=st.integers(2, 3200), aql=st.sampled_from(AQLS))
def test_no_plan_samples_more_than_the_lot(lot, aql):
    found = plan(lot=lot, aql=aql)
    assert 1 <= found.sample <= lot
    assert 0 <= found.accept < found.sample


@pytest.mark.parametrize(("lot", "sample"), [(19, 19), (20, 20), (21, 20)])
def test_all_are_inspected_up_to_and_at_the_sample_size(lot, sample):
    assert plan(lot=lot, aql="0.65").sample == sample


@pytest.mark.parametrize(("bad", "passes"), [(0, True), (1, True), (2, False), (20, False)])
def test_a_sample_passes_up_to_its_acceptance_number(bad, passes):
    assert AUDIT.passes(bad) is passes


@given(one=st.integers(0, 100), other=st.integers(0, 100))
def test_worse_lots_are_never_accepted_more_often(one, other):
    low, high = sorted((one, other))
    better = acceptance_chance_in_lot(AUDIT, lot=100, bad=low)
    assert better >= acceptance_chance_in_lot(AUDIT, lot=100, bad=high) - 1e-12


def test_a_small_lot_is_judged_more_sharply_than_a_process():
    # Derived: 2 bad of 40, sample 20, at most 1 bad: 1 - C(38,18)/C(40,20) = 1 - 380/1560.
    exact = acceptance_chance_in_lot(AUDIT, lot=40, bad=2)
    assert exact == pytest.approx(1 - 380 / 1560)
    of_a_process = 0.95**20 + 20 * 0.05 * 0.95**19
    assert exact > of_a_process + 0.01


@pytest.mark.parametrize(
    "call",
    [
        lambda: code_letter(1),
        lambda: plan(lot=1, aql="1.0"),
        lambda: plan(lot=3201, aql="1.0"),
        lambda: plan(lot=40, aql="1"),
        lambda: Plan(sample=0, accept=0),
        lambda: Plan(sample=5, accept=5),
        lambda: Plan(sample=5, accept=-1),
        lambda: AUDIT.passes(21),
        lambda: AUDIT.passes(-1),
        lambda: acceptance_chance_in_lot(AUDIT, lot=19, bad=1),
        lambda: acceptance_chance_in_lot(AUDIT, lot=30, bad=31),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputRefused):
        call()
