from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.auditing.sums import (
    AQLS,
    Plan,
    acceptance_chance,
    acceptance_chance_in_lot,
    bad_share_at,
    code_letter,
    outgoing_bad_share,
    plan,
    poisson_mean_at,
)
from returns.figures.claims.sums.claims import InputRefused

AUDIT = Plan(sample=20, accept=1)


@given(lot=st.integers(2, 3200), aql=st.sampled_from(AQLS))
def test_no_plan_samples_more_than_the_lot(lot, aql):
    found = plan(lot=lot, aql=aql)
    assert 1 <= found.sample <= lot
    assert found.inspect_all == (found.sample == lot)
    assert found.reject == found.accept + 1


@pytest.mark.parametrize(("lot", "inspect_all"), [(19, True), (20, True), (21, False)])
def test_all_are_inspected_up_to_and_at_the_sample_size(lot, inspect_all):
    assert plan(lot=lot, aql="0.65").inspect_all is inspect_all


@pytest.mark.parametrize(("bad", "passes"), [(0, True), (1, True), (2, False), (20, False)])
def test_a_sample_passes_up_to_its_acceptance_number(bad, passes):
    assert AUDIT.passes(bad) is passes


@given(low=st.floats(0, 1), high=st.floats(0, 1))
def test_worse_lots_are_never_accepted_more_often(low, high):
    low, high = sorted((low, high))
    better = acceptance_chance(AUDIT, bad_share=low)
    assert better >= acceptance_chance(AUDIT, bad_share=high) - 1e-12


@given(chance=st.floats(0.001, 0.999), sample=st.integers(2, 200), data=st.data())
def test_share_at_a_chance_inverts_the_chance_at_a_share(chance, sample, data):
    audit = Plan(sample=sample, accept=data.draw(st.integers(0, sample - 1)))
    share = bad_share_at(audit, chance=chance)
    assert acceptance_chance(audit, bad_share=share) == pytest.approx(chance, abs=1e-7)


def test_a_small_lot_is_judged_more_sharply_than_a_process():
    # Derived: 2 bad of 40, sample 20, at most 1 bad: 1 - C(38,18)/C(40,20) = 1 - 380/1560.
    exact = acceptance_chance_in_lot(AUDIT, lot=40, bad=2)
    assert exact == pytest.approx(1 - 380 / 1560)
    assert exact != pytest.approx(acceptance_chance(AUDIT, bad_share=0.05), abs=0.01)


def test_outgoing_share_is_zero_when_all_are_inspected():
    assert outgoing_bad_share(AUDIT, lot=20, bad_share=0.05) == 0
    expected = acceptance_chance(AUDIT, bad_share=0.05) * 0.05 * 80 / 100
    assert outgoing_bad_share(AUDIT, lot=100, bad_share=0.05) == pytest.approx(expected)


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
        lambda: acceptance_chance(AUDIT, bad_share=1.01),
        lambda: acceptance_chance_in_lot(AUDIT, lot=19, bad=1),
        lambda: acceptance_chance_in_lot(AUDIT, lot=30, bad=31),
        lambda: bad_share_at(AUDIT, chance=1),
        lambda: poisson_mean_at(-1, chance=0.5),
        lambda: outgoing_bad_share(AUDIT, lot=19, bad_share=0.1),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputRefused):
        call()
