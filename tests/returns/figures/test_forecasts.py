from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import betabinom

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.forecast.sums.cohorts import HazardTable, SoldCohort, expected_returns
from returns.figures.forecast.sums.drift import Level, Miss, level_of, misses
from returns.figures.forecast.sums.forecasts import (
    _counts,
    _levels,
    back_test,
    forecast,
    mass_by_colour,
)
from returns.figures.forecast.sums.projection import project, seasonal_indices
from returns.figures.forecast.sums.run_off import run_off
from returns.figures.forecast.sums.seasons import Cells, shrunk
from tests.benchmarks import foretelling

SALES = st.lists(st.integers(1, 1000), min_size=1, max_size=12)
HAZARDS = st.lists(st.floats(0, 0.5), min_size=1, max_size=12)
AS_OF = 24_000


def returns_of(cohorts, table, *, months):
    """Expected returns of cohorts under hazards that nothing multiplies."""
    units = [(c.month, c.still_out) for c in cohorts]
    return expected_returns(units, table, as_of=AS_OF, times=[1.0] * months)


def history(*, months=36, sold=400, hazard=0.01, seed=5):
    """Cohorts of one sale a month whose units come back with a constant chance a month."""
    rng = np.random.default_rng(seed)
    cohorts = []
    for age in range(months - 1, -1, -1):
        still_out, returned = sold, []
        for _ in range(age):
            coming = int(rng.binomial(still_out, hazard))
            returned.append(coming)
            still_out -= coming
        cohorts.append(SoldCohort(AS_OF - age, sold, tuple(returned)))
    return cohorts


@given(sold=st.integers(1, 10_000), hazards=HAZARDS)
def test_one_sale_comes_back_by_its_shares(sold, hazards):
    table = HazardTable(tuple(hazards), 0.0)
    months = len(hazards)
    returns = returns_of([SoldCohort(AS_OF, sold)], table, months=months)
    assert returns == pytest.approx([sold * share for share in table.shares])


@given(sold=SALES, hazards=HAZARDS, factor=st.integers(1, 9))
def test_returns_are_linear_in_sales_and_absent_before_the_first(sold, hazards, factor):
    table = HazardTable(tuple(hazards), 0.1)
    single, multiple = (
        returns_of(
            [SoldCohort(AS_OF + month, times * units) for month, units in enumerate(sold, start=1)],
            table,
            months=len(sold) + 3,
        )
        for times in (1, factor)
    )
    assert multiple == pytest.approx([factor * value for value in single])
    assert single[0] == 0


@given(
    hazards=st.lists(st.floats(0, 1), min_size=1, max_size=24),
    lived=st.integers(0, 24),
    months=st.integers(1, 12),
)
def test_expectation_conditions_on_the_units_still_out(hazards, lived, months):
    # Derived: E[next h] = n (F(a + h) - F(a)) / (1 - F(a)) for n units aged a.
    table = HazardTable(tuple(hazards), 0.0)
    cohort = SoldCohort(AS_OF - lived, 100, (0,) * lived)
    shares = [*table.shares, *([0.0] * 40)]
    out_at_age = 1 - math.fsum(shares[:lived])
    expected = math.fsum(returns_of([cohort], table, months=months))
    if out_at_age > 1e-6:
        coming = math.fsum(shares[lived : lived + months])
        assert expected == pytest.approx(100 * coming / out_at_age, abs=1e-6)


def test_returned_units_no_longer_come_back():
    table = HazardTable((0.5, 0.5), 0.5)
    full = returns_of([SoldCohort(AS_OF - 1, 100, (0,))], table, months=1)
    half = returns_of([SoldCohort(AS_OF - 1, 100, (50,))], table, months=1)
    assert (full, half) == ((50,), (25,))


def test_planned_sales_bring_returns_from_the_month_after_they_are_made():
    table = HazardTable((0.1,), 0.1)
    planned = SoldCohort(AS_OF + 2, 100)
    returns = returns_of([planned], table, months=4)
    assert returns == pytest.approx((0, 0, 10, 9))


def test_beyond_the_oldest_age_the_tail_carries_on():
    cohorts = [SoldCohort(AS_OF - 8, 1000, (0, 0, 10, 10, 10, 10, 10, 10))]
    made = forecast(cohorts, as_of=AS_OF, months=2, seed=1, drift=0)
    at_risk = sum(1000 - 10 * k for k in range(6))
    assert made.months[0].expected == pytest.approx(940 * 60 / at_risk)


def test_forecast_repeats_with_its_seed_and_adds_up():
    first = forecast(history(), as_of=AS_OF, seed=3)
    assert first == forecast(history(), as_of=AS_OF, seed=3)
    assert len(first.months) == 12
    assert [m.month for m in first.months] == list(range(AS_OF + 1, AS_OF + 13))
    assert first.total.expected == pytest.approx(sum(m.expected for m in first.months))
    for month in (*first.months, first.total):
        assert month.low <= month.expected <= month.high


def test_simulated_variance_is_binomial_plus_what_the_hazard_leaves_open():
    # Derived: 10^6 units seen at 0.1, so the hazard's variance is 0.1 * 0.9 / 10^6; it acts on the
    # 900 000 still out (whose next age is unseen and takes the tail) and on the 1000 new ones.
    cohorts = [SoldCohort(AS_OF - 1, 1_000_000, (100_000,)), SoldCohort(AS_OF, 1000)]
    made = forecast(cohorts, as_of=AS_OF, months=1, seed=2, draws=20_000, drift=0)
    assert made.months[0].expected == pytest.approx(90_100)
    shared = (900_000**2 + 1000**2) * 0.09 / 1_000_000
    assert made.months[0].variance == pytest.approx(901_000 * 0.09 + shared, rel=0.05)


@pytest.mark.parametrize(("sold", "returned"), [(40, 6), (400, 12), (60, 30)])
def test_one_age_alone_is_beta_binomial_as_scipy_has_it(sold, returned):
    # Derived: a hazard with a beta posterior and then a binomial count is a beta-binomial count,
    # which scipy.stats.betabinom has in closed form.
    pooled = returned / sold
    exact = betabinom(sold - returned, returned + pooled, sold - returned + 1 - pooled)
    cohorts = [SoldCohort(AS_OF - 1, sold, (returned,))]
    made = forecast(cohorts, as_of=AS_OF, months=1, seed=8, draws=40_000, drift=0).total
    assert made.variance == pytest.approx(exact.var(), rel=0.05)
    assert abs(made.low - exact.ppf(0.05)) <= 1
    assert abs(made.high - exact.ppf(0.95)) <= 1


def test_simulated_units_come_back_only_once():
    # Nine in ten come back each month: without removal two months would bring 1800 of 1000.
    cohorts = [SoldCohort(AS_OF - 1, 10_000, (9000,)), SoldCohort(AS_OF, 1000)]
    made = forecast(cohorts, as_of=AS_OF, months=2, seed=1, drift=0)
    assert made.total.from_sold == pytest.approx(2 * 1000 * 0.99)
    planned = [*cohorts, SoldCohort(AS_OF + 1, 1)]
    assert forecast(planned, as_of=AS_OF, months=2, seed=1, drift=0).total.high <= 2001


def test_fewer_returns_seen_give_wider_limits_for_the_same_share():
    few = forecast(
        [SoldCohort(AS_OF - 1, 100, (10,)), SoldCohort(AS_OF, 5000)],
        as_of=AS_OF,
        months=1,
        seed=1,
        drift=0,
    )
    many = forecast(
        [SoldCohort(AS_OF - 1, 10_000, (1000,)), SoldCohort(AS_OF, 5000)],
        as_of=AS_OF,
        months=1,
        seed=1,
        drift=0,
    )
    width_few = (few.total.high - few.total.low) / few.total.expected
    width_many = (many.total.high - many.total.low) / many.total.expected
    assert width_few > 2 * width_many


@pytest.mark.parametrize("returned", [4, 5, 6])
def test_a_forecast_needs_five_returns(returned):
    cohorts = [SoldCohort(AS_OF - 1, 100, (returned,))]
    if returned >= 5:
        assert forecast(cohorts, as_of=AS_OF, seed=1).total.expected > 0
        return
    with pytest.raises(NotEnoughEvidence) as caught:
        forecast(cohorts, as_of=AS_OF, seed=1)
    assert (caught.value.have, caught.value.need) == (4, 5)


def test_nothing_sold_lacks_evidence():
    with pytest.raises(NotEnoughEvidence):
        forecast([], as_of=AS_OF, seed=1)


@pytest.mark.parametrize("returned", [(1,), (1, 1, 1)])
def test_a_cohort_with_a_month_missing_or_too_many_is_refused(returned):
    cohorts = [SoldCohort(AS_OF - 2, 100, returned)]
    with pytest.raises(InputRefused, match="needs 2 months"):
        forecast(cohorts, as_of=AS_OF, seed=1, returns_min=1)


@pytest.mark.slow
def test_back_test_limits_cover_about_as_often_as_they_say():
    result = back_test(history(), as_of=AS_OF, lead=3, months=24, seed=4)
    assert len(result.rows) == 24
    assert all(row.forecast.month - row.made_at == 3 for row in result.rows)
    assert result.covered >= 18
    average = sum(row.actual for row in result.rows) / 24
    assert abs(result.mean_error) < 0.15 * average


def weibull_history(rng, *, unlike=0.0, months=14):
    """Cohorts of 250 with a Weibull hazard (shape 1.3, scale 50 months) and a factor of their own
    of mean 1 and standard deviation `unlike`, known up to AS_OF."""
    survival = np.exp(-((np.arange(months + 1) / 50) ** 1.3))
    hazards = 1 - survival[1:] / survival[:-1]
    cohorts = []
    for lived in range(months - 1, -1, -1):
        factor = rng.gamma(1 / unlike**2, unlike**2) if unlike else 1.0
        still_out, returned = 250, []
        for hazard in hazards[:lived]:
            coming = int(rng.binomial(still_out, min(1, hazard * factor)))
            returned.append(coming)
            still_out -= coming
        cohorts.append(SoldCohort(AS_OF - lived, 250, tuple(returned)))
    return cohorts


def covered_share(*, coverage, unlike=0.0, drift=None, histories=100):
    """Of forecasts made three months before AS_OF, each from a history of its own."""
    rng = np.random.default_rng(12)
    hits = 0
    for _ in range(histories):
        cohorts = weibull_history(rng, unlike=unlike)
        then = [c.as_known(at_month=AS_OF - 3) for c in cohorts if c.month <= AS_OF - 3]
        month = forecast(
            then, as_of=AS_OF - 3, months=3, coverage=coverage, seed=1, draws=300, drift=drift
        ).months[-1]
        hits += month.low <= sum(c.returned_in(AS_OF) for c in cohorts) <= month.high
    return hits / histories


@pytest.mark.slow
@pytest.mark.parametrize(("coverage", "least", "most"), [(0.9, 0.84, 0.99), (0.5, 0.42, 0.7)])
def test_limits_hold_what_they_say_for_weibull_cohorts(coverage, least, most):
    # 100 trials: two standard errors are 0.06 at 0.9, and 0.1 at 0.5; whole units widen it.
    assert least <= covered_share(coverage=coverage) <= most


@pytest.mark.slow
def test_drift_makes_up_for_cohorts_that_are_not_alike():
    without = covered_share(coverage=0.9, unlike=0.8, drift=0)
    learned = covered_share(coverage=0.9, unlike=0.8)
    assert without < 0.84 < learned


def a_miss(month, *, expected=100.0, actual=100):
    return Miss(month=month, expected=expected, variance=expected, actual=actual)


def test_level_of_misses_that_are_none_is_what_the_hazards_say():
    level = level_of([a_miss(month) for month in range(24)])
    assert level.off == 0
    assert level.drift < 0.05
    assert level_of([]) == level_of([a_miss(0, expected=0.4, actual=9)])
    assert level_of([]).off == 0


def test_level_follows_misses_that_last_and_forgets_them_slowly():
    """Constructed: 100 expected, 150 came for a year. Counting explains ± 10, so that the level is
    held to be near 1.5 now; a month later a tenth of it is forgotten (STAYS)."""
    level = level_of([a_miss(month, actual=150) for month in range(12)])
    assert 0.35 < level.off < 0.5
    assert level.drift > 0.1
    assert level.at(1) == pytest.approx(1 + 0.9 * level.off)
    assert level.at(60) == pytest.approx(1, abs=0.01)


def test_level_of_one_miss_by_hand():
    """With one drift alone: prior variance d²/(1 - 0.9²), a month on 0.81 of it and d² more, which
    is the same; gain = that over that and the miss's own 1/100."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("returns.figures.forecast.sums.drift.DRIFTS", (0.1,))
        level = level_of([a_miss(0, actual=120)])
    prior = 0.01 / 0.19
    gain = prior / (prior + 0.01)
    assert level.off == pytest.approx(gain * 0.2)
    assert level.variance == pytest.approx((1 - gain) * prior)


def test_simulated_counts_lie_round_the_expectation_at_each_age():
    # Chances that differ by age, so that a month of age too few shows; 0.45 is six standard errors.
    table = HazardTable((0.01, 0.3, 0.05), 0.2)
    cohorts = [SoldCohort(AS_OF - lived, 200, (0,) * lived) for lived in (3, 1, 0)]
    cohorts.append(SoldCohort(AS_OF + 1, 200))
    hazards = np.tile((*table.by_age, table.tail), (20_000, 1))
    units = [(c.month, np.full(20_000, c.still_out)) for c in cohorts]
    counts = _counts(np.random.default_rng(9), units, (hazards, np.ones((20_000, 4))), AS_OF)
    expected = returns_of(cohorts, table, months=4)
    assert counts.mean(axis=0) == pytest.approx(expected, abs=0.45)


def test_level_that_drifts_starts_where_it_stands_and_spreads():
    """Four standard errors of 50 000 draws; the spread is that of an autoregression, by hand."""
    level = Level(off=0.4, variance=0.01, drift=0.1)
    drawn = _levels(np.random.default_rng(3), level, (50_000, 3))
    assert drawn.mean(axis=0) == pytest.approx([1.36, 1.324, 1.2916], abs=4 * 0.2 / 50_000**0.5)
    spread, variance = [], 0.01
    for _month in range(3):
        variance = 0.81 * variance + 0.01
        spread.append(math.sqrt(variance))
    assert drawn.std(axis=0) == pytest.approx(spread, rel=0.02)


def test_expectation_and_variance_of_a_miss_by_hand():
    """Two cohorts of 100 with 10 and 20 back in their first month; made a month later, at 101.

    Then 200 were at risk at age 1 and 30 failed: 0.15; at age 2 the 90 of the older one, none
    failed, so that age 2 has 0 and what lies beyond has 30 / 290. In the month after the younger
    one (80 out) is 2 old, of hazard 0, the older one (90 out) 3 old, beyond what was seen.
    """
    cohorts = [SoldCohort(99, 100, (10, 0, 0, 0)), SoldCohort(100, 100, (20, 0, 0))]
    (found,) = [m for m in misses(cohorts, as_of=103) if m.month == 102]
    beyond = 30 / 290
    assert found.expected == pytest.approx(90 * beyond)
    unsure = 90**2 * beyond * (1 - beyond) / (290 + 1)
    assert found.variance == pytest.approx(90 * beyond + unsure)
    assert found.actual == 0


def test_a_miss_knows_only_what_was_known_when_it_was_forecast():
    cohorts = history(months=12)
    late = [
        SoldCohort(
            c.month,
            c.sold,
            (*c.returned_by_age[:-1], c.returned_by_age[-1] + 20) if c.returned_by_age else (),
        )
        for c in cohorts
    ]
    plain, spoiled = misses(cohorts, as_of=AS_OF), misses(late, as_of=AS_OF)
    assert [m.expected for m in plain] == [m.expected for m in spoiled]
    more = [after.actual - before.actual for after, before in zip(spoiled, plain, strict=True)]
    assert more == [11 * 20 if miss.month == AS_OF else 0 for miss in plain]


def test_factors_of_the_year_are_found_once_there_are_two_and_none_before():
    """A constant hazard, doubled in one month of the year: that month's factor is near 2, and the
    hazard is found as it was."""
    cohorts = []
    for lived in range(35, -1, -1):
        left, came = 4000, []
        for age in range(1, lived + 1):
            coming = round(left * 0.02 * (2 if (AS_OF - lived + age) % 12 == 3 else 1))
            came.append(coming)
            left -= coming
        cohorts.append(SoldCohort(AS_OF - lived, 4000, tuple(came)))
    fit = Cells(cohorts).fit(AS_OF)
    assert fit is not None
    mean = 13 / 12
    assert fit.factors[3] == pytest.approx(2 / mean, rel=0.03)
    assert fit.factors[5] == pytest.approx(1 / mean, rel=0.03)
    assert fit.table.at(1) == pytest.approx(0.02 * mean, rel=0.03)
    young = [SoldCohort(c.month, c.sold, c.returned_by_age) for c in cohorts[-23:]]
    before = Cells(young).fit(AS_OF)
    assert before is not None
    assert before.factors.tolist() == [1.0] * 12


def test_factors_are_drawn_towards_one_by_what_counting_explains():
    even = np.full(12, 25.0)
    factors, unsure = shrunk(even + np.tile((3.0, -3.0), 6), even)
    assert factors.tolist() == [1.0] * 12, "a scatter of 3 is less than the 5 of a Poisson count"
    assert unsure.tolist() == [0.0] * 12
    factors, unsure = shrunk(even * np.tile((1.8, 0.2), 6), even)
    kept = (0.64 - 11 / 300) / (0.64 - 11 / 300 + 1 / 25)
    assert factors[:2] == pytest.approx([1 + 0.8 * kept, 1 - 0.8 * kept])
    assert unsure[0] == pytest.approx(math.sqrt(kept / 25))


def test_sales_to_come_keep_their_level_and_grow_ever_more_slowly():
    flat = project([50] * 12, 3)
    assert flat.expected == pytest.approx((50, 50, 50))
    assert flat.dispersion == 1
    grown = project([round(400 * 1.05**k) for k in range(12)], 12)
    steps = [b / a for a, b in itertools.pairwise(grown.expected)]
    assert grown.expected[0] == pytest.approx(400 * 1.05**12, rel=0.03)
    assert steps[0] == pytest.approx(1.05 ** (0.95), rel=0.01)
    assert steps == sorted(steps, reverse=True)
    assert project([5, 7, 0, 0, 0, 0, 0, 0], 2).expected == (0, 0)


def test_growth_that_chance_explains_is_none():
    assert project([9, 11, 10, 9, 10, 11, 10, 12, 10, 11, 10, 11], 4).expected == pytest.approx(
        [64 / 6] * 4
    )


def test_sales_follow_the_month_of_the_year_after_two_years():
    year = [10, 10, 10, 40, 40, 90, 90, 40, 40, 10, 10, 10]
    ahead = project(year * 2, 12).expected
    assert ahead == pytest.approx(year, rel=0.15, abs=2)


def test_a_forecast_says_how_much_comes_from_sales_to_come():
    """Constant hazard 0.01, 400 sold a month, so k months ahead (k - 1) cohorts have come: about
    400 · 0.01 each, a little less by those that came back."""
    made = forecast(history(), as_of=AS_OF, seed=3)
    first, last = made.months[0], made.months[-1]
    assert first.from_sold == first.expected
    assert last.expected - last.from_sold == pytest.approx(11 * 4 * 0.95, rel=0.15)
    assert made.total.expected - made.total.from_sold == pytest.approx(
        sum(m.expected - m.from_sold for m in made.months)
    )


def test_planned_sales_go_before_projected_ones():
    planned = [*history(), SoldCohort(AS_OF + 1, 4000)]
    made = forecast(planned, as_of=AS_OF, months=3, seed=3)
    coming = [m.expected - m.from_sold for m in made.months]
    assert coming == pytest.approx([0, 40, 40], rel=0.15)


@pytest.mark.parametrize(
    ("kind", "months"), [("steady", 24), ("growing", 18), ("growing", 36), ("seasonal", 36)]
)
def test_limits_hold_and_nothing_plain_is_nearer_in_simulated_workshops(kind, months):
    """A small draw of `tests.benchmarks.foretelling`: 12 workshops, 48 forecasts, of which 90 % are
    43; fewer than 37 come in one of a hundred draws. Its README has the table of the large one."""
    rows = foretelling.measured(kind, months, 12, draws=200)
    assert len(rows) == 48
    assert sum(row.held for row in rows) >= 37
    year = [row for row in rows if row.lead == 0]
    assert foretelling.off(year) < min(foretelling.plainly_off(year))


def test_back_test_uses_only_what_was_known_then():
    cohorts = history()
    spoiled = [
        SoldCohort(
            c.month,
            c.sold,
            tuple(
                300 if c.month + k == AS_OF and c.month == AS_OF - 20 else n
                for k, n in enumerate(c.returned_by_age, start=1)
            ),
        )
        for c in cohorts
    ]
    plain = back_test(cohorts, as_of=AS_OF, months=1, seed=4).rows[0]
    late = back_test(spoiled, as_of=AS_OF, months=1, seed=4).rows[0]
    assert late.forecast == plain.forecast
    assert late.actual > plain.actual + 250
    assert not late.is_covered


def test_back_test_finds_a_forecast_that_a_change_made_wrong():
    # Frames suddenly come back ten times as often in the last three months.
    cohorts = [
        SoldCohort(
            c.month,
            c.sold,
            tuple(
                min(10 * n, 12) if c.month + k > AS_OF - 3 else n
                for k, n in enumerate(c.returned_by_age, start=1)
            ),
        )
        for c in history()
    ]
    result = back_test(cohorts, as_of=AS_OF, months=3, seed=4)
    assert result.covered == 0
    assert result.mean_error < 0


def test_a_back_test_says_what_a_forecast_made_then_would_have_said():
    cohorts = history(months=14)
    row = back_test(cohorts, as_of=AS_OF, lead=2, months=3, seed=4).rows[0]
    then = [c.as_known(at_month=row.made_at) for c in cohorts if c.month <= row.made_at]
    made = forecast(then, as_of=row.made_at, months=2, seed=4, draws=1000)
    assert made.months[-1] == row.forecast


def test_back_test_without_any_evidence_says_so():
    with pytest.raises(NotEnoughEvidence):
        back_test([SoldCohort(AS_OF, 10)], as_of=AS_OF, seed=1)


def test_mass_by_colour_multiplies_units_by_the_frame_mass():
    made = forecast(history(), as_of=AS_OF, seed=3)
    rows = mass_by_colour({"moss": made}, {"moss": 24_500})["moss"]
    for row, month in zip(rows, made.months, strict=True):
        assert row.expected_mg == round(month.expected * 24_500)
        assert (row.low_mg, row.high_mg) == (month.low * 24_500, month.high * 24_500)
        assert isinstance(row.expected_mg, int)


def test_mass_of_a_colour_without_a_frame_mass_is_refused():
    made = forecast(history(), as_of=AS_OF, seed=3)
    with pytest.raises(InputRefused, match="moss"):
        mass_by_colour({"moss": made}, {})
    with pytest.raises(InputRefused):
        mass_by_colour({"moss": made}, {"moss": 0})


@pytest.mark.parametrize(
    "call",
    [
        lambda: HazardTable((1.1,), 0.1),
        lambda: HazardTable((0.1,), -0.1),
        lambda: SoldCohort(1, 10, (6, 5)),
        lambda: SoldCohort(1, 0),
        lambda: forecast(history(), as_of=AS_OF, months=0, seed=1),
        lambda: forecast(history(), as_of=AS_OF, coverage=1, seed=1),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputRefused):
        call()


STEADY = [[100, 150, 165, 165], [200, 300, 330], [50, 75], [80]]


def test_cohorts_that_develop_alike_run_off_exactly():
    # Constructed: factors 1.5, 1.1, 1; no spread, so no error.
    developed = run_off(STEADY)
    assert developed.factors == pytest.approx((1.5, 1.1, 1))
    assert developed.ultimates == pytest.approx((165, 330, 82.5, 132))
    assert developed.total_standard_error == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("cohorts", [3, 4, 5])
def test_a_run_off_needs_four_cohorts(cohorts):
    triangle = [[100 + age for age in range(cohorts - k)] for k in range(cohorts)]
    if cohorts >= 4:
        assert len(run_off(triangle).ultimates) == cohorts
        return
    with pytest.raises(NotEnoughEvidence) as caught:
        run_off(triangle)
    assert (caught.value.have, caught.value.need) == (3, 4)


@pytest.mark.parametrize(
    "last_rows",
    [[[50, 75], [80, 90]], [[50], [80]], [[75, 50], [80]], [[50, 75], [0]], [[50, 75], [-1]]],
)
def test_a_triangle_of_the_wrong_shape_is_refused(last_rows):
    with pytest.raises(InputRefused):
        run_off([*STEADY[:2], *last_rows])


def test_seasonal_indices_by_hand_and_refusal():
    assert seasonal_indices([2, 6] * 3, 2) == pytest.approx((0.5, 1.5))
    assert seasonal_indices([1, 2, 3] * 2, 3) == pytest.approx((0.5, 1.0, 1.5))
    with pytest.raises(InputRefused):
        seasonal_indices([1] * 23, 12)
