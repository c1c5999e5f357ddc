"""A reading: typed text, its refusal in the reader's language, doubts about the scale."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.utils import translation

from inventory.errors import BadInput
from inventory.furniture.numbers import mass_words
from inventory.weighing import rules as weighing
from inventory.weighing.queries import readings
from inventory.weighing.sums import weighing as sums
from tests.makers import NOON, scale

pytestmark = pytest.mark.django_db


def test_mass_in_a_sentence_has_the_readers_decimal_sign() -> None:
    assert mass_words(24_310) == "24.310 g"
    with translation.override("de"):
        assert mass_words(24_310) == "24,310 g"


def test_refusal_names_the_field_and_the_scales_limit_in_the_readers_sign() -> None:
    with pytest.raises(BadInput) as refused:
        weighing.parse(scale=scale(), typed="600.01 g")
    assert refused.value.field == "mass"
    assert "600.000 g" in str(refused.value)
    with translation.override("de"), pytest.raises(BadInput) as refused:
        weighing.parse(scale=scale("Second scale"), typed="600,01 g", field="tare")
    assert refused.value.field == "tare"
    assert "600,000 g" in str(refused.value)


@pytest.mark.parametrize(
    ("due", "doubts"),
    [
        (None, ["no_check_date"]),
        (date(2026, 11, 13), ["past_check"]),
        (date(2026, 11, 14), []),
    ],
)
def test_scale_is_doubted_without_a_check_or_after_it_is_due(
    due: date | None, doubts: list[str]
) -> None:
    at = datetime(2026, 11, 14, 10, 0, tzinfo=UTC)
    assert readings.doubts(scale=scale(check_due=due), at=at) == doubts


def test_reading_keeps_its_parts_of_uncertainty_and_is_known_by_them() -> None:
    """Class II, e 100 mg, 24.31 g, nothing checked. Own: d/√6 = 4.082 mg; a third of the limit in
    service, 33.333 mg; on the pan 24.31 · 100/(2 · 200 · √3) = 3.509 mg. The limit as a rectangle,
    100/√3 = 57.735 mg, is shared by like loads and half of it by all."""
    reading = weighing.read(scale=scale(), typed=" 24,31 g ", at=NOON)
    assert (reading.typed, reading.mass_mg, reading.flags) == ("24,31 g", 24_310, [])
    assert reading.u_own_ug == pytest.approx(1000 * (100 / 6 + 100**2 / 9 + 3.509**2) ** 0.5, abs=1)
    assert (reading.u_shared_ug, reading.u_local_ug) == (28_868, 57_735)
    assert (reading.u_drift_ug, reading.error_ug, reading.edition) == (0, 0, 2)
    assert (reading.at, reading.check_due) == (NOON, date(2027, 6, 30))
    measured = readings.measured(reading)
    assert measured.u_shared_mg == (
        (reading.period, pytest.approx(28.868)),
        (f"{reading.period}:load15", pytest.approx(57.735)),
    )
    whole = (measured.u_independent_mg**2 + 28.8675**2 + 57.735**2) ** 0.5
    assert readings.known(reading).expanded_ug == pytest.approx(2000 * whole, abs=3)


def test_reading_keeps_what_its_scale_was_known_by_on_that_day() -> None:
    """Half way from check to check, a drift of 300 ppm has come to half: 24.31 g · 150 ppm/√3."""
    checked = scale(
        check_due=date(2026, 12, 12),
        checked_on=date(2026, 9, 13),
        certificate=[[20_000, -2_000, 1_000], [30_000, 3_000, 1_500]],
        repeatability_ug=7_000,
        repeats=10,
        eccentricity_ug=0,
        eccentricity_load_mg=200_000,
        drift_ppm=300,
    )
    at = datetime(2026, 10, 28, 10, 0, tzinfo=UTC)
    reading = weighing.read(scale=checked, typed="24.31 g", at=at)
    own = (100 / 6 + 7**2 * 9 / 7) ** 0.5
    assert reading.u_own_ug == pytest.approx(1000 * own, abs=1)
    assert (reading.u_shared_ug, reading.u_local_ug) == (1_216, 0)
    assert reading.error_ug == 155
    assert reading.u_drift_ug == pytest.approx(24_310 * 150e-6 / 3**0.5 * 1000, abs=1)
    assert reading.model["certificate"] == checked.certificate
    assert reading.model["checked_on"] == "2026-09-13"
    assert reading.model["repeats"] == 10


def test_one_figure_for_all_loads_is_shared_in_full_by_like_ones_only() -> None:
    told = scale(calibration_u_ug=1_500, drift_ppm=0)
    reading = weighing.read(scale=told, typed="0.49 g", at=NOON)
    assert (reading.u_shared_ug, reading.u_local_ug) == (750, 1_500)
    assert (reading.u_drift_ug, reading.flags) == (0, ["below_minimum"])


def test_drift_that_nobody_measured_is_what_the_class_allows_in_use() -> None:
    """Max 600 g = 6 000 e: 1 e = 100 mg at the check and as much again in use, so 100 mg of drift
    at Max; 24.31/600 of it as a rectangle."""
    reading = weighing.read(scale=scale(calibration_u_ug=1_500), typed="24.31 g", at=NOON)
    assert reading.u_drift_ug == pytest.approx(1000 * 24.31 / 600 * 100 / 3**0.5, abs=1)


def test_bad_scale_says_what_a_scale_must_be() -> None:
    assert str(sums.BadScale()) == sums.BadScale.template


def test_spread_of_shares_counts_a_common_error_with_its_sign() -> None:
    first, second = (sums.Measured(10, 3.0, (("a", 4.0),)) for _each in "ab")
    assert sums.spread_mg([(1, first), (-1, second)]) == pytest.approx(3 * 2**0.5)
    assert sums.spread_mg([(1, first), (1, second)]) == pytest.approx((18 + 64) ** 0.5)
    assert sums.spread_mg([(0.5, first)]) == pytest.approx(2.5)
