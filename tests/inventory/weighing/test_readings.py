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
    """Class II, e 100 mg, 24.31 g: d/√12 = 2.887 mg; half an e doubled in service, 100/√3 mg."""
    reading = weighing.read(scale=scale(), typed=" 24,31 g ", at=NOON)
    assert (reading.typed, reading.mass_mg, reading.flags) == ("24,31 g", 24_310, [])
    assert (reading.u_own_ug, reading.u_shared_ug) == (2_887, 57_735)
    assert (reading.at, reading.check_due) == (NOON, date(2027, 6, 30))
    measured = readings.measured(reading)
    assert measured.u_independent_mg == pytest.approx(2.887)
    assert measured.u_shared_mg == ((reading.period, pytest.approx(57.735)),)
    assert readings.known(reading).expanded_ug == pytest.approx(2 * 57_807, abs=2)


def test_checked_scale_keeps_the_checks_own_uncertainty() -> None:
    reading = weighing.read(scale=scale(calibration_u_ug=1_500), typed="0.49 g", at=NOON)
    assert (reading.u_shared_ug, reading.flags) == (1_500, ["below_minimum"])


def test_bad_scale_says_what_a_scale_must_be() -> None:
    assert str(sums.BadScale()) == sums.BadScale.template


def test_spread_of_shares_counts_a_common_error_with_its_sign() -> None:
    first, second = (sums.Measured(10, 3.0, (("a", 4.0),)) for _each in "ab")
    assert sums.spread_mg([(1, first), (-1, second)]) == pytest.approx(3 * 2**0.5)
    assert sums.spread_mg([(1, first), (1, second)]) == pytest.approx((18 + 64) ** 0.5)
    assert sums.spread_mg([(0.5, first)]) == pytest.approx(2.5)
