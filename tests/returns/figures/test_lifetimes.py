from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from returns.figures.claims.sums.claims import InputRefused, NotEnoughEvidence
from returns.figures.lifetimes.sums.lifetimes import (
    AgedCohort,
    Exposure,
    age_hazards,
    cumulative_incidence,
    median_limits,
    median_span,
    normal_quantile,
    survival_curve,
)
from returns.figures.lifetimes.sums.weibull import weibull_fit

EXPOSURES = st.lists(
    st.builds(
        Exposure, st.integers(1, 24), st.sampled_from(["", "hinge", "screw"]), st.integers(1, 9)
    ),
    min_size=1,
    max_size=30,
)


def has(cause, rows):
    return any(row.cause == cause for row in rows)


def test_units_censored_at_a_failure_span_still_count_as_at_risk():
    curve = survival_curve([Exposure(5, "hinge"), Exposure(5), Exposure(6, "hinge")])
    assert (curve[0].at_risk, curve[0].survival) == (3, pytest.approx(2 / 3))


@given(rows=EXPOSURES)
def test_grouped_units_give_the_same_curve_as_single_ones(rows):
    if all(not row.cause for row in rows):
        return
    singles = [Exposure(row.span, row.cause) for row in rows for _ in range(row.units)]
    grouped, apart = survival_curve(rows), survival_curve(singles)
    assert [p.survival for p in grouped] == pytest.approx([p.survival for p in apart])
    assert [p.at_risk for p in grouped] == [p.at_risk for p in apart]


@given(rows=EXPOSURES)
def test_survival_falls_within_its_limits(rows):
    if all(not row.cause for row in rows):
        return
    before = 1.0
    for point in survival_curve(rows):
        assert 0 <= point.survival < before
        before = point.survival
        low, high = point.loglog_limits
        assert low <= point.survival <= high <= 1


@given(rows=EXPOSURES)
def test_incidences_of_all_causes_add_up_to_the_share_failed(rows):
    causes = [cause for cause in ("hinge", "screw") if has(cause, rows)]
    if not causes:
        return
    total = sum(cumulative_incidence(rows, cause=cause)[-1].incidence for cause in causes)
    assert total == pytest.approx(1 - survival_curve(rows)[-1].survival)


@given(rows=EXPOSURES)
def test_with_one_cause_the_incidence_error_is_greenwoods(rows):
    single = [Exposure(row.span, "hinge" if row.cause else "", row.units) for row in rows]
    if not has("hinge", single):
        return
    pairs = zip(cumulative_incidence(single, cause="hinge"), survival_curve(single), strict=True)
    for incidence, point in pairs:
        assert incidence.incidence == pytest.approx(1 - point.survival)
        if point.standard_error is not None:
            assert incidence.standard_error == pytest.approx(point.standard_error, abs=1e-7)


def test_without_censoring_the_incidence_error_is_binomial():
    # Derived: 20 units, all seen to fail; incidence is a plain proportion.
    rows = [Exposure(span, "hinge" if span % 3 else "screw") for span in range(1, 21)]
    for point in cumulative_incidence(rows, cause="hinge"):
        share = point.incidence
        assert point.standard_error == pytest.approx(math.sqrt(share * (1 - share) / 20), rel=1e-9)


def test_competing_causes_agree_with_an_independent_library():
    from lifelines import AalenJohansenFitter

    rows = [Exposure(span, ("", "hinge", "screw")[span % 3]) for span in range(1, 40)]
    peer = AalenJohansenFitter(seed=1).fit(
        [row.span for row in rows],
        [("", "hinge", "screw").index(row.cause) for row in rows],
        event_of_interest=1,
    )
    for point in cumulative_incidence(rows, cause="hinge"):
        expected = float(peer.cumulative_density_.squeeze()[point.span])
        assert point.incidence == pytest.approx(expected, rel=1e-9)
        assert point.standard_error**2 == pytest.approx(
            float(peer.variance_.squeeze()[point.span]), rel=0.1
        )


def test_median_not_reached_says_how_many_failures_are_missing():
    curve = survival_curve([Exposure(1, "hinge"), Exposure(2, units=9)])
    with pytest.raises(NotEnoughEvidence):
        median_span(curve)


@pytest.mark.parametrize("failures", [4, 5, 6])
def test_a_weibull_fit_needs_five_failures_unless_told_otherwise(failures):
    rows = [Exposure(10 + k, "hinge") for k in range(failures)]
    if failures >= 5:
        assert weibull_fit(rows).failures == failures
        return
    with pytest.raises(NotEnoughEvidence) as caught:
        weibull_fit(rows)
    assert (caught.value.have, caught.value.need) == (4, 5)
    assert weibull_fit(rows, failures_min=4).failures == 4


def test_a_weibull_fit_of_one_span_lacks_evidence():
    with pytest.raises(NotEnoughEvidence):
        weibull_fit([Exposure(10, "hinge", units=8)])
    with pytest.raises(NotEnoughEvidence):
        weibull_fit([Exposure(10, "hinge", units=8), Exposure(4)])


@given(
    spans=st.lists(st.floats(0.5, 200), min_size=5, max_size=25, unique=True),
    factor=st.floats(0.01, 1e6),
)
def test_changing_the_time_unit_scales_eta_and_leaves_beta(spans, factor):
    if max(spans) / min(spans) < 1.01:
        return
    rows = [Exposure(span, "hinge" if k % 2 == 0 else "") for k, span in enumerate(spans)]
    try:
        fit = weibull_fit(rows, failures_min=2)
    except NotEnoughEvidence:
        return
    scaled = weibull_fit([Exposure(row.span * factor, row.cause) for row in rows], failures_min=2)
    assert scaled.shape == pytest.approx(fit.shape, rel=1e-6)
    assert scaled.scale == pytest.approx(fit.scale * factor, rel=1e-6)


def test_covariance_is_the_inverse_of_the_numeric_curvature():
    rows = [Exposure(float(k * k + 3), "hinge" if k % 3 else "", units=2) for k in range(1, 15)]
    fit = weibull_fit(rows)

    def log_likelihood(mu, sigma):
        total = 0.0
        for row in rows:
            z = (math.log(row.span) - mu) / sigma
            total -= row.units * math.exp(z)
            if row.cause:
                total += row.units * (z - math.log(sigma) - math.log(row.span))
        return total

    step = 1e-4
    mu, sigma = fit.mu, fit.sigma
    here = log_likelihood(mu, sigma)
    assert here == pytest.approx(fit.log_likelihood)
    ends = (log_likelihood(mu + step, sigma), log_likelihood(mu - step, sigma))
    aa = -(ends[0] - 2 * here + ends[1]) / step**2
    ends = (log_likelihood(mu, sigma + step), log_likelihood(mu, sigma - step))
    bb = -(ends[0] - 2 * here + ends[1]) / step**2
    corners = (
        log_likelihood(mu + step, sigma + step)
        - log_likelihood(mu + step, sigma - step)
        - log_likelihood(mu - step, sigma + step)
        + log_likelihood(mu - step, sigma - step)
    )
    ab = -corners / (4 * step**2)
    determinant = aa * bb - ab * ab
    numeric = (bb / determinant, -ab / determinant, aa / determinant)
    assert fit.covariance == pytest.approx(numeric, rel=1e-4)


def test_life_at_a_share_inverts_the_share_failed_by_it():
    fit = weibull_fit([Exposure(span, "hinge") for span in (3, 5, 8, 13, 21)])
    for share in (0.01, 0.1, 0.5, 0.9):
        failed_by = 1 - math.exp(-((fit.life_at(share) / fit.scale) ** fit.shape))
        assert failed_by == pytest.approx(share)
        low, high = fit.life_limits(share)
        assert low < fit.life_at(share) < high
    assert fit.life_at(1 - math.exp(-1)) == pytest.approx(fit.scale)
    for share in (0, 1):
        with pytest.raises(InputRefused):
            fit.life_at(share)


def test_a_cohort_counts_only_in_ages_it_has_lived():
    hazards = age_hazards([AgedCohort(10, (1, 0, 2)), AgedCohort(50, (5,))])
    assert [(h.at_risk, h.failed) for h in hazards] == [(60, 6), (9, 0), (9, 2)]


def test_hazards_stop_when_nobody_is_left():
    hazards = age_hazards([AgedCohort(2, (2, 0, 0))])
    assert [(h.age, h.failed_by) for h in hazards] == [(1, 1)]
    assert hazards[0].standard_error is None


@pytest.mark.parametrize(
    "call",
    [
        lambda: survival_curve([Exposure(3)]),
        lambda: survival_curve([]),
        lambda: cumulative_incidence([Exposure(3, "hinge")], cause="screw"),
        lambda: age_hazards([AgedCohort(10, (0, 0))]),
        lambda: age_hazards([]),
        lambda: weibull_fit([]),
    ],
)
def test_thin_data_raise_instead_of_giving_a_figure(call):
    with pytest.raises(NotEnoughEvidence) as caught:
        call()
    assert caught.value.need > caught.value.have


@pytest.mark.parametrize(
    "call",
    [
        lambda: Exposure(0, "hinge"),
        lambda: Exposure(-1),
        lambda: Exposure(math.inf),
        lambda: Exposure(1, units=0),
        lambda: AgedCohort(0, ()),
        lambda: AgedCohort(3, (-1,)),
        lambda: AgedCohort(3, (2, 2)),
        lambda: normal_quantile(1.0),
    ],
)
def test_impossible_input_is_refused(call):
    with pytest.raises(InputRefused):
        call()


def test_wider_coverage_gives_wider_limits():
    rows = [Exposure(1, "hinge"), Exposure(2, "hinge"), Exposure(3, units=8)]
    narrow, wide = survival_curve(rows, coverage=0.8)[0], survival_curve(rows, coverage=0.99)[0]
    assert wide.loglog_limits[0] < narrow.loglog_limits[0]
    assert normal_quantile(0.95) == pytest.approx(1.959964, abs=5e-7)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_limits_of_a_life_follow_from_the_curvature_of_its_own_likelihood(share: float) -> None:
    """Derived: with the life itself as a parameter beside sigma, the inverse of the observed
    information (by finite differences) gives the variance that the delta method propagates."""
    failed = [3.1, 5.0, 6.2, 8.8, 9.5, 11.0, 12.4]
    rows = [Exposure(span, "worn") for span in failed] + [Exposure(14.0, "", 9)]
    fit = weibull_fit(rows)
    standard = math.log(-math.log1p(-share))

    def minus_log_likelihood(log_life: float, sigma: float) -> float:
        total = 0.0
        for row in rows:
            z = (math.log(row.span) - (log_life - sigma * standard)) / sigma
            total -= row.units * ((z - math.log(sigma) if row.cause else 0.0) - math.exp(z))
        return total

    at, h = (math.log(fit.life_at(share)), fit.sigma), 1e-4

    def second(i: int, k: int) -> float:
        def moved(a: int, b: int) -> float:
            point = list(at)
            point[i] += a * h
            point[k] += b * h
            return minus_log_likelihood(*point)

        return (moved(1, 1) - moved(1, -1) - moved(-1, 1) + moved(-1, -1)) / (4 * h * h)

    life2, cross, sigma2 = second(0, 0), second(0, 1), second(1, 1)
    error = math.sqrt(sigma2 / (life2 * sigma2 - cross**2))
    low, high = fit.life_limits(share)
    assert math.log(high / low) / 2 == pytest.approx(1.959964 * error, rel=1e-3)


def test_the_medians_limits_are_where_the_curves_limits_cross_one_half():
    """By hand, 20 units, one failing each month: log-log limits of S = 1 - t / 20.

    At t = 6: S = 0.7, q = sqrt(sum 1 / (n (n - 1))) = sqrt(0.3 / (0.7 * 20)) = 0.1464,
    0.7 ** exp(1.96 * 0.1464 / 0.3567) = 0.7 ** 2.2354 = 0.4505; at t = 5 the limit is
    0.75 ** exp(1.96 * 0.1291 / 0.2877) = 0.75 ** 2.4099 = 0.4999.
    """
    curve = survival_curve([Exposure(float(t), "broke") for t in range(1, 21)])
    low, high = median_limits(curve)
    assert median_span(curve) == 10
    assert low == 5
    upper_at = {point.span: point.loglog_limits[1] for point in curve}
    assert high is not None
    assert upper_at[high] <= 0.5 < upper_at[high - 1]


def test_a_limit_that_the_curve_does_not_reach_is_open():
    few = survival_curve([Exposure(1.0, "broke", 6), Exposure(2.0, "", 4)])
    assert median_span(few) == 1
    assert median_limits(few) == (1, None)
    assert median_limits(()) == (None, None)
