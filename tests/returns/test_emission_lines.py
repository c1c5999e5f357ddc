"""Emissions and avoided emissions of a year: two lines, a range, or the reason for no number.

Factors: UK Government conversion factors, 2025 set, read in a table packaged with a general
emission-factor library. Expected figures are derived from them by exact arithmetic.
"""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client

from inventory.models import PlaceKind
from inventory.models.materials import Origin
from returns.models import Policy
from returns.queries import emissions
from tests.inventory import month_makers as made
from tests.makers import Shop

pytestmark = pytest.mark.django_db
IN_2025 = datetime(2025, 6, 3, 9, 0, tzinfo=UTC)


def issued(shop: Shop, mg: int, origin: Origin, at: datetime = IN_2025) -> None:
    code = f"L-{origin[:6]}-{at.year}"
    lot = made.lot(shop, code, origin)
    made.move("receive_feedstock", (made.at(PlaceKind.SUPPLIERS), lot, mg), at=at)
    made.move("issue", (lot, made.at(PlaceKind.PRODUCTION), mg), at=at, subject="AV-1")


def test_two_lines_stand_beside_each_other_and_no_net(shop: Shop) -> None:
    issued(shop, 10_000_000, Origin.RETURN)
    (year,) = emissions.years()
    assert year.statement is not None
    assert year.statement.inventory_kg == Decimal("13.1257172")
    assert year.statement.avoided_kg == Decimal("12.8878586")
    assert year.statement.avoided_low_kg == 0
    assert year.statement.avoided_high_kg == Decimal("25.7757172")


def test_only_post_consumer_flake_counts(shop: Shop) -> None:
    for origin in (Origin.FEEDSTOCK, Origin.VIRGIN, Origin.IN_PROCESS):
        issued(shop, 1_000_000, origin)
    assert emissions.of_year(2025, Policy.the()).issued_mg == 1_000_000


def test_a_year_without_a_factor_gets_a_reason_and_no_number(shop: Shop) -> None:
    issued(shop, 1_000_000, Origin.RETURN, at=made.OCT)
    (year,) = emissions.years()
    assert (year.year, year.statement) == (2026, None)
    assert "no factor for 2026" in year.lacking


def test_own_factors_count_for_their_year_only(shop: Shop) -> None:
    issued(shop, 1_000_000, Origin.RETURN, at=made.OCT)
    choice = Policy.the()
    choice.factor_year, choice.factor_source = 2026, "Invented factors, 2026"
    choice.factor_virgin_g_per_t, choice.factor_process_g_per_t = 2_000_000, 500_000
    found = emissions.of_year(2026, choice)
    assert found.statement is not None
    assert found.statement.inventory_kg == Decimal("0.5")
    assert found.statement.avoided_high_kg == 2
    choice.factor_year = 2027
    assert emissions.of_year(2026, choice).statement is None


def test_own_factors_without_a_source_are_not_used(shop: Shop) -> None:
    issued(shop, 1_000_000, Origin.RETURN, at=made.OCT)
    choice = Policy.the()
    choice.factor_year, choice.factor_source = 2026, " "
    choice.factor_virgin_g_per_t, choice.factor_process_g_per_t = 2_000_000, 500_000
    assert emissions.of_year(2026, choice).statement is None


def test_a_share_without_a_reason_gives_no_number(shop: Shop) -> None:
    issued(shop, 1_000_000, Origin.RETURN)
    choice = Policy.the()
    choice.substitution_reason = " "
    found = emissions.of_year(2025, choice)
    assert found.statement is None
    assert found.lacking


def test_a_year_without_issues_says_so(shop: Shop) -> None:
    assert emissions.years() == []
    assert emissions.of_year(2025, Policy.the()).lacking


@pytest.mark.parametrize(
    ("low", "likely", "high"), [(500_001, 500_000, 1_000_000), (0, 2, 1), (0, 0, 1_000_001)]
)
def test_shares_out_of_order_are_refused(shop: Shop, low: int, likely: int, high: int) -> None:
    choice = Policy.the()
    choice.substitution_low_ppm, choice.substitution_ppm = low, likely
    choice.substitution_high_ppm = high
    with pytest.raises(ValidationError, match="must rise"):
        choice.full_clean()
    with pytest.raises(IntegrityError), transaction.atomic():
        choice.save()


def test_the_page_shows_both_lines_and_the_caution(client: Client, olga: User, shop: Shop) -> None:
    issued(shop, 10_000_000, Origin.RETURN)
    issued(shop, 1_000_000, Origin.RETURN, at=made.OCT)
    client.force_login(olga)
    shown = client.get("/owner/emissions/").content.decode()
    for words in ("13.1 kg CO₂e", "12.9 kg CO₂e", "range 0.0 to 25.8", "never netted"):
        assert words in shown
    assert "no factor for 2026" in shown
    assert f"/admin/returns/policy/{Policy.the().pk}/change/" in shown
