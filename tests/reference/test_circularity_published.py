"""Circularity figures against the method's limit cases and against constructed vectors.

No published worked example of the material circularity indicator with both inputs and outputs could
be read; the anchors are limit cases of the published formulas (read second-hand: Ellen MacArthur
Foundation and Granta Design, Circularity Indicators: Methodology, 2015; 2019 edition), the vectors
are constructed by exact arithmetic. None of them is a published example.
"""

from __future__ import annotations

import math

import pytest

from returns.figures.circularity.sums import circularity
from returns.figures.circularity.sums.circularity import Component


def scored(utility_ratio=1.0, **fields):
    part = Component(mass_mg=fields.pop("mass_mg", 1), **fields)
    return circularity.material_circularity([part], utility_ratio=utility_ratio)


# Limit cases; the arithmetic of the 0.9 constant is from memory, recomputed.
@pytest.mark.parametrize(
    ("fields", "index", "indicator"),
    [
        pytest.param({}, 1, 0.1, id="A1 linear"),
        pytest.param({"reused_in": 1, "reused_out": 1}, 0, 1, id="A2 fully reused"),
        pytest.param({"recycled_in": 1, "recycled_out": 1}, 0, 1, id="A3 recycled without loss"),
        pytest.param({"utility_ratio": 0.5}, 1, 0, id="A4 short life, cut at zero"),
        pytest.param({"utility_ratio": 0.9}, 1, 0, id="A5 exactly zero"),
        pytest.param({"utility_ratio": 2}, 1, 0.55, id="A6 linear, double life"),
        pytest.param(
            {"recycled_in": 1, "recycled_out": 1, "feedstock_yield": 0.8, "recycling_yield": 0.8},
            1 / 9,
            0.9,
            id="A7 recycled with loss",
        ),
        # The shortcut (V + W) / 2M would give 0.325 here: this case tells the formulas apart.
        pytest.param(
            {"recycled_out": 1, "recycling_yield": 0}, 1, 0.1, id="C1 collected, nothing recovered"
        ),
        pytest.param(
            {"recycled_in": 1, "feedstock_yield": 1e-6},
            0.999998,
            0.100002,
            id="C2 vanishing feedstock yield",
        ),
    ],
)
def test_limit_cases(fields, index, indicator):
    result = scored(**fields)
    assert result.linear_flow_index == pytest.approx(index, abs=5e-7)
    assert result.indicator == pytest.approx(indicator, abs=5e-7)


# Constructed, recomputed: B1 a 25 g frame, B2 the same frame with a longer life. Flows in kg.
@pytest.mark.parametrize(
    ("fields", "flows_kg", "index", "indicator"),
    [
        pytest.param(
            {
                "recycled_in": 1,
                "recycled_out": 0.6,
                "recycling_yield": 0.9,
                "feedstock_yield": 0.9,
            },
            (0, 0.01, 0.0015, 0.002778, 0.012139),
            0.239715,
            0.784257,
            id="B1",
        ),
        pytest.param(
            {
                "recycled_in": 0.8,
                "recycled_out": 0.5,
                "reused_out": 0.2,
                "recycling_yield": 0.95,
                "feedstock_yield": 0.9,
                "utility_ratio": 3 / 2,
            },
            (0.005, 0.0075, 0.000625, 0.002222, 0.008924),
            0.274094,
            0.835543,
            id="B2",
        ),
    ],
)
def test_constructed_frames(fields, flows_kg, index, indicator):
    result = scored(mass_mg=25_000, **fields)
    flows = (
        result.virgin_mg,
        result.discarded_mg,
        result.recycling_loss_mg,
        result.feedstock_loss_mg,
        result.waste_mg,
    )
    assert [flow / 1e6 for flow in flows] == pytest.approx(flows_kg, abs=5e-7)
    assert result.linear_flow_index == pytest.approx(index, abs=5e-7)
    assert result.indicator == pytest.approx(indicator, abs=5e-7)


# Negative examples: printed on public pages with a wrong denominator; we must not reproduce them.
# The right-hand figures are recomputed by the method.
@pytest.mark.parametrize(
    ("mass_mg", "recycled_in", "recycled_out", "utility_ratio", "printed", "by_method"),
    [(100_000_000, 0.3, 0.5, 1, 0.52, 0.46), (50_000_000, 0.6, 0.8, 1.5, 0.828, 0.82)],
)
def test_printed_scores_with_a_wrong_denominator_are_not_reproduced(
    *, mass_mg, recycled_in, recycled_out, utility_ratio, printed, by_method
):
    result = scored(
        utility_ratio, mass_mg=mass_mg, recycled_in=recycled_in, recycled_out=recycled_out
    )
    assert result.indicator == pytest.approx(by_method, abs=5e-7)
    assert abs(result.indicator - printed) > 0.005


def test_the_shortcut_without_the_loss_term_is_not_reproduced():
    # Several public scripts use (V + W) / 2M, which gives 0.832917 for B2.
    result = scored(
        1.5,
        mass_mg=25_000,
        recycled_in=0.8,
        recycled_out=0.5,
        reused_out=0.2,
        recycling_yield=0.95,
        feedstock_yield=0.9,
    )
    shortcut_index = (result.virgin_mg + result.waste_mg) / (2 * result.mass_mg)
    assert 1 - shortcut_index * 0.9 / 1.5 == pytest.approx(0.832917, abs=5e-7)
    assert abs(result.indicator - 0.832917) > 0.002


# Constructed month; indicator names and clauses ISO 59020:2024 Table 3, read second-hand; only the
# formula of A.3.3 was read (second-hand), the others are from memory of the same pattern.
def test_a_constructed_month_of_inflow():
    shares = circularity.inflow_shares(
        {"reused": 1_200_000, "recycled": 42_500_000, "renewable": 0, "linear": 6_300_000},
        total_mg=50_000_000,
    )
    assert [share.percent for share in shares] == pytest.approx([2.4, 85.0, 0, 12.6])


def test_a_constructed_month_of_outflow():
    shares = circularity.outflow_shares(
        {"reused": 9_400_000, "recycled": 30_250_000, "biological": 0, "linear": 10_350_000},
        total_mg=50_000_000,
    )
    assert [share.percent for share in shares] == pytest.approx([18.8, 60.5, 0, 20.7])


# From memory: Newcombe, Two-sided confidence intervals for the single proportion, Statistics in
# Medicine 17 (1998), Table I, methods 3 (score) and 5 (Clopper-Pearson).
@pytest.mark.parametrize(
    ("count", "of", "score", "exact"),
    [
        (81, 263, (0.2553, 0.3662), (0.2527, 0.3676)),
        (15, 148, (0.0624, 0.1605), (0.0578, 0.1617)),
        (0, 20, (0, 0.1611), (0, 0.1684)),
        (1, 29, (0.0061, 0.1718), (0.0009, 0.1776)),
    ],
)
def test_intervals_of_a_single_proportion(count, of, score, exact):
    wilson = circularity.counted_share(count=count, of=of)
    clopper = circularity.counted_share(count=count, of=of, method="exact")
    assert (wilson.low, wilson.high) == pytest.approx(score, abs=5e-5)
    assert (clopper.low, clopper.high) == pytest.approx(exact, abs=5e-5)


def test_score_interval_solves_its_own_equation():
    # Derived: each limit p solves |share - p| = z * sqrt(p (1 - p) / n).
    result = circularity.counted_share(count=15, of=148)
    for limit in (result.low, result.high):
        spread = 1.959963984540054 * math.sqrt(limit * (1 - limit) / 148)
        assert abs(result.share - limit) == pytest.approx(spread, rel=1e-9)
