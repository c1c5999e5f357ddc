from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.figures.circularity.sums import circularity
from returns.figures.circularity.sums.circularity import Component, Spread
from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence

FRACTION = st.floats(0, 1, allow_nan=False)
RAISES_CIRCULARITY = ("recycled_in", "reused_in", "reused_out")


def indicator(*parts, utility_ratio=1.0):
    return circularity.material_circularity(parts, utility_ratio=utility_ratio).indicator


@given(
    source=FRACTION,
    fate=FRACTION,
    yield_in=st.floats(0.05, 1),
    yield_out=FRACTION,
    factor=st.integers(1, 10**6),
)
def test_scaling_the_mass_leaves_the_indicator_unchanged(source, fate, yield_in, yield_out, factor):
    fields = {
        "recycled_in": source,
        "recycled_out": fate,
        "feedstock_yield": yield_in,
        "recycling_yield": yield_out,
    }
    small = indicator(Component(mass_mg=1000, **fields))
    large = indicator(Component(mass_mg=1000 * factor, **fields))
    assert large == pytest.approx(small, abs=1e-9)


@given(
    base=st.floats(0, 0.5),
    more=st.floats(0, 0.5),
    yield_in=st.floats(0.05, 1),
    field=st.sampled_from(RAISES_CIRCULARITY),
)
def test_raising_a_circular_fraction_never_lowers_the_indicator(base, more, yield_in, field):
    before = indicator(Component(mass_mg=1000, feedstock_yield=yield_in, **{field: base}))
    after = indicator(Component(mass_mg=1000, feedstock_yield=yield_in, **{field: base + more}))
    assert after >= before - 1e-12


@given(low=st.floats(0.1, 5), more=st.floats(0, 5), source=FRACTION)
def test_a_longer_life_never_lowers_the_indicator(low, more, source):
    part = Component(mass_mg=1000, recycled_in=source)
    assert indicator(part, utility_ratio=low + more) >= indicator(part, utility_ratio=low)


def test_several_components_sum_their_flows_before_one_index_is_formed():
    recycled = Component(mass_mg=24_000, recycled_in=1, feedstock_yield=0.8)
    steel = Component(mass_mg=1_000, recycled_out=1, recycling_yield=0.5)
    result = circularity.material_circularity([recycled, steel])
    # Constructed: V 1000, W0 24000, WC 500, WF 6000, W 27250, LFI 28250 / 52750.
    assert result.virgin_mg == pytest.approx(1_000)
    assert result.waste_mg == pytest.approx(27_250)
    assert result.linear_flow_index == pytest.approx(28_250 / 52_750)
    weighted_mean = (24 * indicator(recycled) + indicator(steel)) / 25
    assert result.indicator != pytest.approx(weighted_mean, abs=1e-4)


@pytest.mark.parametrize(
    "fields",
    [
        {"mass_mg": 0},
        {"mass_mg": -1},
        {"mass_mg": 1, "recycled_in": 1.0001},
        {"mass_mg": 1, "recycled_in": -0.0001},
        {"mass_mg": 1, "recycled_in": 0.5, "reused_in": 0.3, "grown_in": 0.21},
        {"mass_mg": 1, "recycled_out": 0.5, "reused_out": 0.3, "composted_out": 0.21},
        {"mass_mg": 1, "recycled_out": 0.9, "energy_out": 0.11},
        {"mass_mg": 1, "recycled_in": 0.1, "feedstock_yield": 0},
        {"mass_mg": 1, "recycling_yield": float("nan")},
    ],
)
def test_a_component_outside_the_method_is_refused(fields):
    with pytest.raises(InputRefused):
        Component(**fields)


def test_fractions_that_sum_to_one_in_binary_are_accepted():
    part = Component(mass_mg=1, recycled_in=0.7, reused_in=0.2, grown_in=0.1)
    assert part.virgin_mg == pytest.approx(0, abs=1e-9)


def test_a_feedstock_yield_of_zero_is_accepted_when_nothing_recycled_goes_in():
    assert indicator(Component(mass_mg=1, feedstock_yield=0)) == pytest.approx(0.1)


@pytest.mark.parametrize("ratio", [0, -1, float("nan"), float("inf")])
def test_a_utility_that_is_not_above_zero_is_refused(ratio):
    with pytest.raises(InputRefused):
        indicator(Component(mass_mg=1), utility_ratio=ratio)


def test_an_empty_bill_of_materials_is_refused():
    with pytest.raises(InputRefused):
        circularity.material_circularity([])


MONTH_IN = {"reused": 1_200_000, "recycled": 42_500_000, "linear": 6_300_000}


def test_inflow_with_a_reason_for_the_missing_category_counts_it_as_zero():
    shares = circularity.inflow_shares(
        MONTH_IN, total_mg=50_000_000, not_applicable={"renewable": "no grown material is used"}
    )
    renewable = next(share for share in shares if share.category == "renewable")
    assert renewable.percent == 0
    assert renewable.not_applicable == "no grown material is used"
    assert sum(share.percent for share in shares) == pytest.approx(100)


@pytest.mark.parametrize("total_mg", [49_999_999, 50_000_001])
def test_inflow_one_milligram_off_its_total_is_refused(total_mg):
    with pytest.raises(InputRefused, match="1 mg"):
        circularity.inflow_shares({**MONTH_IN, "renewable": 0}, total_mg=total_mg)


@pytest.mark.parametrize(
    ("masses", "reasons", "words"),
    [
        (MONTH_IN, {}, "renewable"),
        (MONTH_IN, {"renewable": " "}, "renewable"),
        (MONTH_IN, {"renewable": "none", "reused": "none"}, "reused"),
        ({**MONTH_IN, "renewable": -1}, {}, "negative"),
        ({**MONTH_IN, "renewable": 0, "burnt": 1}, {}, "burnt"),
    ],
)
def test_inflow_that_breaks_the_rules_says_which(masses, reasons, words):
    with pytest.raises(InputRefused, match=words):
        circularity.inflow_shares(masses, total_mg=50_000_000, not_applicable=reasons)


@given(n=st.integers(1, 500), data=st.data())
def test_both_intervals_hold_their_share_and_name_their_method(n, data):
    k = data.draw(st.integers(0, n))
    exact = circularity.counted_share(count=k, of=n, method="exact")
    wilson = circularity.counted_share(count=k, of=n)
    for interval in (exact, wilson):
        assert 0 <= interval.low <= interval.share <= interval.high <= 1
    assert exact.method == "exact"
    assert wilson.method == "wilson"


@pytest.mark.parametrize("truth", [0.01, 0.05, 0.3, 0.5, 0.77, 0.99])
def test_exact_interval_covers_the_truth_at_least_as_often_as_it_says(truth):
    covered = 0.0
    for k in range(21):
        interval = circularity.counted_share(count=k, of=20, method="exact")
        if interval.low <= truth <= interval.high:
            covered += math.comb(20, k) * truth**k * (1 - truth) ** (20 - k)
    assert covered >= 0.95


def test_take_back_and_repair_shares_state_method_and_evidence():
    rate = circularity.take_back_rate(returned=81, sold=263)
    mended = circularity.repair_share(repaired=15, graded=148)
    assert (rate.method, rate.evidence) == ("wilson", 263)
    assert (mended.method, mended.evidence) == ("wilson", 148)


def test_a_share_of_no_units_lacks_evidence_and_of_too_many_is_refused():
    with pytest.raises(NotEnoughEvidence) as caught:
        circularity.take_back_rate(returned=0, sold=0)
    assert caught.value.need == 1
    with pytest.raises(InputRefused):
        circularity.take_back_rate(returned=2, sold=1)


FRAME = Component(
    mass_mg=25_000, recycled_in=1, recycled_out=0.6, recycling_yield=0.9, feedstock_yield=0.9
)


def test_simulation_repeats_with_its_seed_and_brackets_the_point():
    spreads = {"recycled_out": Spread(low=0.4, mode=0.6, high=0.8)}

    def spread_of(seed):
        return circularity.propagate(
            lambda drawn: indicator(replace(FRAME, **drawn)), spreads, seed=seed, draws=200
        )

    assert spread_of(7) == spread_of(7)
    assert spread_of(7) != spread_of(8)
    assert spread_of(7).low < indicator(FRAME) < spread_of(7).high


def test_simulated_interval_agrees_with_a_linear_figure():
    # Constructed: symmetric triangular on 0..2 has 2.5 % quantile sqrt(0.05) = 0.2236.
    result = circularity.propagate(
        lambda drawn: drawn["x"], {"x": Spread(low=0, mode=1, high=2)}, seed=1, draws=20_000
    )
    assert result.low == pytest.approx(0.2236, abs=0.02)
    assert result.median == pytest.approx(1, abs=0.02)
    assert result.high == pytest.approx(2 - 0.2236, abs=0.02)


def test_a_fixed_spread_gives_an_interval_without_width():
    result = circularity.propagate(
        lambda drawn: drawn["x"], {"x": Spread(low=1.5, mode=1.5, high=1.5)}, seed=1, draws=100
    )
    assert result.low == result.high == 1.5


def test_simulation_refuses_few_draws_and_disordered_spreads():
    with pytest.raises(InputRefused):
        circularity.propagate(dict.__len__, {}, seed=1, draws=99)
    with pytest.raises(InputRefused):
        Spread(low=1, mode=0.5, high=2)
