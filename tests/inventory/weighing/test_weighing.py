"""Weighing sums: identities and constructed vectors; published ones are under tests/reference."""

from __future__ import annotations

from datetime import date
from math import inf, nan, sqrt
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from inventory.weighing.sums.weighing import (
    BadScale,
    CertificatePoint,
    Measured,
    Scale,
    WeighingFlag,
    calibration_uncertainty_mg,
    certified,
    combine,
    drift_uncertainty_mg,
    expanded,
    flags,
    maximum_permissible_error_mg,
    measure,
    repeatability_uncertainty_mg,
    step_uncertainty_mg,
    total,
)

BENCH: dict[str, Any] = {
    "key": "bench",
    "resolution_d_mg": 10,
    "verification_e_mg": 100,
    "accuracy_class": "II",
    "capacity_mg": 600_000,
    "minimum_mg": 5_000,
    "check_due": date(2026, 11, 30),
}
measured = st.builds(
    Measured,
    st.integers(-(10**7), 10**7),
    st.floats(0, 1000),
    st.lists(st.tuples(st.sampled_from("ab"), st.floats(0, 1000)), unique_by=lambda p: p[0]).map(
        lambda pairs: tuple(sorted(pairs))
    ),
)


def bench(**changes: Any) -> Scale:
    return Scale(**{**BENCH, **changes})


@pytest.mark.parametrize(
    "changes",
    [
        {"key": ""},
        {"resolution_d_mg": 0},
        {"resolution_d_mg": 101},
        {"accuracy_class": "V"},
        {"minimum_mg": -1},
        {"minimum_mg": 600_001},
        {"capacity_mg": 0, "minimum_mg": 0},
        {"calibration_u_mg": -0.1},
        {"calibration_u_mg": inf},
        {"repeatability_mg": 3.0},
        {"repeatability_mg": 3.0, "repeats": 3},
        {"repeatability_mg": nan, "repeats": 10},
        {"eccentricity_mg": 3.0},
        {"eccentricity_mg": 3.0, "eccentricity_load_mg": 0},
        {"drift_ppm": -1.0},
        {"certificate": (CertificatePoint(0, 0.0, 1.0),)},
        {"certificate": (CertificatePoint(9, 0.0, 1.0), CertificatePoint(9, 0.0, 1.0))},
        {"certificate": (CertificatePoint(9, 0.0, -1.0),)},
    ],
)
def test_figures_that_are_no_scale_are_refused(changes: dict[str, Any]) -> None:
    with pytest.raises(BadScale) as refused:
        bench(**changes)
    assert refused.value.code == "bad_scale"


def test_error_limit_doubles_in_service() -> None:
    fresh, used = bench(in_service=False), bench()
    assert maximum_permissible_error_mg(fresh, 150_000) == 50
    assert maximum_permissible_error_mg(used, 150_000) == 100


@pytest.mark.parametrize(
    ("accuracy_class", "first_end_e", "second_end_e"),
    [("I", 50_000, 200_000), ("II", 5_000, 20_000), ("III", 500, 2_000), ("IIII", 50, 200)],
)
def test_error_limit_steps_up_just_above_each_band(
    accuracy_class: str, first_end_e: int, second_end_e: int
) -> None:
    scale = bench(accuracy_class=accuracy_class, in_service=False)
    e_mg = scale.verification_e_mg
    for end_e, below, above in [(first_end_e, 0.5, 1.0), (second_end_e, 1.0, 1.5)]:
        end_mg = end_e * e_mg
        assert maximum_permissible_error_mg(scale, end_mg - 1) == below * e_mg
        assert maximum_permissible_error_mg(scale, end_mg) == below * e_mg
        assert maximum_permissible_error_mg(scale, end_mg + 1) == above * e_mg


CHECKED: dict[str, Any] = {
    "repeatability_mg": 0.0,
    "repeats": 10,
    "eccentricity_mg": 0.0,
    "eccentricity_load_mg": 200_000,
    "drift_ppm": 0.0,
}


def test_uncertainty_without_a_check_is_what_the_class_allows() -> None:
    """Step twice, a third of the limit, on the pan 100·100/(2·200·√3); the limit and half of it."""
    own = 10**2 / 6 + (100 / 3) ** 2 + (100 / (4 * sqrt(3))) ** 2
    expected = sqrt(own + 1.25 * 100**2 / 3)
    assert measure(bench(), 100_000).u_mg == pytest.approx(expected, rel=1e-12)


def test_medium_class_lets_its_range_be_the_limit() -> None:
    scale = bench(accuracy_class="III")
    assert repeatability_uncertainty_mg(scale, 20_000) == pytest.approx(100 / sqrt(12))


@pytest.mark.parametrize(("repeats", "factor"), [(4, 3.0), (5, 2.0), (10, 9 / 7), (103, 1.02)])
def test_repeats_only_estimate_the_repeatability(repeats: int, factor: float) -> None:
    scale = bench(repeatability_mg=8.0, repeats=repeats)
    assert repeatability_uncertainty_mg(scale, 20_000) == pytest.approx(8 * sqrt(factor))


def test_calibration_check_takes_the_place_of_the_class() -> None:
    assert calibration_uncertainty_mg(bench(calibration_u_mg=7.5), 100_000) == 7.5
    assert calibration_uncertainty_mg(bench(calibration_u_mg=0.0), 100_000) == 0.0


def test_taring_is_two_roundings() -> None:
    once = measure(bench(calibration_u_mg=0.0, **CHECKED), 20_000)
    assert once.u_mg == pytest.approx(step_uncertainty_mg(bench(), tared=True), rel=1e-12)


def test_difference_of_like_loads_loses_their_error_and_one_of_unlike_loads_does_not() -> None:
    gross, tare = measure(bench(**CHECKED), 120_000), measure(bench(**CHECKED), 20_000)
    unlike = combine([(1, gross), (-1, tare)])
    assert unlike.mass_mg == 100_000
    assert dict(unlike.u_shared_mg)["bench"] == 0.0
    assert unlike.u_mg == pytest.approx(sqrt(2 * 10**2 / 6 + 2 * 100**2 / 3), rel=1e-12)
    like = combine([(1, gross), (-1, measure(bench(**CHECKED), 100_000))])
    assert like.u_mg == pytest.approx(sqrt(2 * 10**2 / 6), rel=1e-12)


def test_difference_under_a_certificate_loses_all_but_what_changes_with_the_load() -> None:
    """Errors of +6 mg at 20 g and -12 mg at 100 g are left in the readings: 18 mg of doubt."""
    points = (CertificatePoint(20_000, 6.0, 5.0), CertificatePoint(100_000, -12.0, 5.0))
    scale = bench(certificate=points, **CHECKED)
    net = combine([(1, measure(scale, 100_000)), (-1, measure(scale, 20_000))])
    assert net.u_mg == pytest.approx(sqrt(2 * 10**2 / 6 + 18**2), rel=1e-12)
    assert certified(scale, 60_000).error_mg == pytest.approx(-3.0)
    assert certified(scale, 1_000) == points[0]
    assert certified(scale, 400_000) == points[1]


def test_gross_and_tare_on_two_scales_keep_both_errors() -> None:
    gross = measure(bench(**CHECKED), 120_000)
    tare = measure(bench(key="other", **CHECKED), 20_000)
    net = combine([(1, gross), (-1, tare)])
    assert net.u_mg == pytest.approx(sqrt(2 * (1.25 * 100**2 / 3 + 10**2 / 6)), rel=1e-12)


@pytest.mark.parametrize(
    ("on", "share"),
    [
        (date(2026, 1, 1), 0.0),
        (date(2026, 7, 2), 182 / 364),
        (date(2026, 12, 31), 1.0),
        (date(2027, 12, 30), 2.0),
        (None, 1.0),
    ],
)
def test_drift_grows_evenly_from_check_to_check_and_beyond(on: date | None, share: float) -> None:
    scale = bench(
        checked_on=date(2026, 1, 1), check_due=date(2026, 12, 31), **(CHECKED | {"drift_ppm": 60.0})
    )
    expected = 50_000 * 60e-6 / sqrt(3) * share
    assert drift_uncertainty_mg(scale, 50_000, on) == pytest.approx(expected)


def test_total_of_many_on_one_scale_grows_with_their_number() -> None:
    one = Measured(50_000, 0.0, (("bench", 3.0),))
    assert total([one] * 10).u_mg == pytest.approx(30.0)
    own = Measured(50_000, 3.0)
    assert total([own] * 10).u_mg == pytest.approx(3 * sqrt(10))


def test_nothing_has_no_uncertainty() -> None:
    assert combine([]) == Measured(0, 0.0)


def test_expanded_takes_its_factor() -> None:
    assert expanded(1.5) == 3.0
    assert expanded(1.5, 3) == 4.5


@pytest.mark.parametrize(
    ("mass_mg", "on", "expected"),
    [
        (5_000, date(2026, 11, 30), ()),
        (4_999, date(2026, 11, 29), (WeighingFlag.BELOW_MINIMUM,)),
        (600_000, date(2026, 12, 1), (WeighingFlag.PAST_CHECK,)),
        (600_001, date(2026, 12, 1), (WeighingFlag.PAST_CHECK, WeighingFlag.OVER_CAPACITY)),
    ],
)
def test_flags_speak_up_just_past_each_limit(
    mass_mg: int, on: date, expected: tuple[WeighingFlag, ...]
) -> None:
    assert flags(bench(), mass_mg, on) == expected


def test_scale_without_a_check_date_is_flagged() -> None:
    assert flags(bench(check_due=None), 9_000, date(2026, 1, 1)) == (WeighingFlag.NO_CHECK_DATE,)


@given(st.lists(measured, max_size=6))
def test_splitting_a_sum_changes_nothing(weighings: list[Measured]) -> None:
    whole = total(weighings)
    halves = combine([(1, total(weighings[:3])), (1, total(weighings[3:]))])
    assert halves.mass_mg == whole.mass_mg == sum(w.mass_mg for w in weighings)
    assert halves.u_mg == pytest.approx(whole.u_mg, rel=1e-9, abs=1e-9)


@given(measured, measured)
def test_own_parts_never_shrink_in_a_difference(one: Measured, other: Measured) -> None:
    difference = combine([(1, one), (-1, other)])
    assert difference.u_independent_mg >= max(one.u_independent_mg, other.u_independent_mg) * (
        1 - 1e-12
    )
    assert difference.u_mg <= one.u_mg + other.u_mg + 1e-9
