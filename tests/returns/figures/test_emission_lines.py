"""Emissions and avoided emissions of a year: two lines, a range, or the reason for no number.

Factors: UK Government conversion factors, 2025 set, read in a table packaged with a general
emission-factor library. Expected figures are derived from them by exact arithmetic.
"""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal

import pytest
from django.contrib.admin.models import LogEntry
from django.contrib.auth.models import User
from django.core.exceptions import ValidationError
from django.db import IntegrityError, transaction
from django.test import Client
from django.urls import reverse

from inventory.models import PlaceKind
from inventory.models.materials import Origin
from returns.figures.emissions import queries as emissions
from returns.models import EmissionFactors, Policy
from tests.inventory import month_makers as made
from tests.makers import Shop
from tests.returns import owner_makers

pytestmark = pytest.mark.django_db
IN_2025 = datetime(2025, 6, 3, 9, 0, tzinfo=UTC)


def issued(shop: Shop, mg: int, origin: Origin, at: datetime = IN_2025) -> None:
    code = f"L-{origin[:6]}-{at.year}"
    lot = made.lot(shop, code, origin)
    made.move("receive_feedstock", (made.at(PlaceKind.SELLERS), lot, mg), at=at)
    made.move("issue", (lot, made.at(PlaceKind.PRESS), mg), at=at, subject="AV-1")


def test_two_lines_stand_beside_each_other_and_no_net(shop: Shop) -> None:
    issued(shop, 10_000_000, Origin.RETURN)
    (year,) = emissions.years()
    assert year.statement is not None
    assert year.statement.inventory_kg == Decimal("13.1257172")
    assert year.statement.avoided_kg == Decimal("12.8878586")
    assert year.statement.avoided_low_kg == 0
    assert year.statement.avoided_high_kg == Decimal("25.7757172")


def test_line_one_has_the_uncertainty_of_its_weighings_or_none(shop: Shop) -> None:
    """By hand: one reading of 1 kg, its own and shared parts, twice that times the factor."""
    lot = made.lot(shop, "L-weighed", Origin.RETURN)
    made.move("receive_feedstock", (made.at(PlaceKind.SELLERS), lot, 2_000_000), at=IN_2025)
    reading = owner_makers.read(shop.box_scale, 1_000_000, IN_2025)
    owner_makers.move(
        "issue",
        [(lot, made.at(PlaceKind.PRESS), 1_000_000, reading)],
        at=IN_2025,
        subject="AV-1",
    )
    own_factors(2025)
    found = emissions.of_year(2025, Policy.the())
    expanded_mg = made.doubt_ug([(1, reading)]) / 1000
    assert found.issued_expanded_mg == pytest.approx(expanded_mg, abs=1)
    assert found.inventory_expanded_kg is not None
    assert float(found.inventory_expanded_kg) == pytest.approx(expanded_mg * 500 / 1e9, abs=1e-6)
    issued(shop, 1_000_000, Origin.FEEDSTOCK)
    mixed = emissions.of_year(2025, Policy.the())
    assert (mixed.issued_expanded_mg, mixed.inventory_expanded_kg) == (None, None)


def test_only_post_consumer_flake_counts(shop: Shop) -> None:
    for origin in (Origin.FEEDSTOCK, Origin.VIRGIN, Origin.IN_PROCESS):
        issued(shop, 1_000_000, origin)
    assert emissions.of_year(2025, Policy.the()).issued_mg == 1_000_000


def test_a_year_without_a_factor_gets_a_reason_and_no_number(shop: Shop) -> None:
    issued(shop, 1_000_000, Origin.RETURN, at=made.OCT)
    (year,) = emissions.years()
    assert (year.year, year.statement) == (2026, None)
    assert "no factor for 2026" in year.lacking


def test_the_newest_factors_of_an_earlier_year_stand_beside_it_and_say_so(
    client: Client, olga: User, shop: Shop
) -> None:
    """1 kg with the UK set of 2025: 1,312.57172 kg a tonne of process, 2,577.57172 of virgin."""
    issued(shop, 1_000_000, Origin.RETURN, at=made.OCT)
    (year,) = emissions.years()
    assert year.newest is not None
    assert (year.newest.year, year.statement) == (2025, None)
    assert year.newest.inventory_kg == Decimal("1.31257172")
    client.force_login(olga)
    assert (
        "With the factors of 2025, an earlier year"
        in client.get("/owner/emissions/").content.decode()
    )
    own_factors(2025)
    (year,) = emissions.years()
    assert year.newest is not None
    assert year.newest.inventory_kg == Decimal("0.5")


def own_factors(year: int, source: str | None = None) -> EmissionFactors:
    facts: dict[str, object] = {
        "year": year,
        "virgin_g_per_t": 2_000_000,
        "process_g_per_t": 500_000,
        "source": f"Invented factors, {year}" if source is None else source,
    }
    return EmissionFactors.objects.create(**facts)


def test_own_factors_count_for_their_year_only(shop: Shop) -> None:
    issued(shop, 1_000_000, Origin.RETURN, at=made.OCT)
    own_factors(2027)
    assert emissions.of_year(2026, Policy.the()).statement is None
    own_factors(2026)
    found = emissions.of_year(2026, Policy.the())
    assert found.statement is not None
    assert found.statement.inventory_kg == Decimal("0.5")
    assert found.statement.avoided_high_kg == 2
    assert found.statement.baseline.source == "Invented factors, 2026"


def test_own_factors_go_before_the_uk_set(shop: Shop) -> None:
    issued(shop, 1_000_000, Origin.RETURN)
    own_factors(2025)
    found = emissions.of_year(2025, Policy.the())
    assert found.statement is not None
    assert found.statement.inventory_kg == Decimal("0.5")


@pytest.mark.parametrize(("year", "source"), [(2030, ""), (2026, "Invented once more")])
def test_factors_need_a_source_and_a_year_of_their_own(shop: Shop, year: int, source: str) -> None:
    own_factors(2026)
    with pytest.raises(IntegrityError), transaction.atomic():
        own_factors(year, source)


def test_the_owner_enters_factors_and_the_change_is_kept_by_name(
    client: Client, olga: User
) -> None:
    olga.is_staff = True
    olga.save()
    client.force_login(olga)
    typed = {
        "year": 2026,
        "virgin_g_per_t": 2_577_572,
        "process_g_per_t": 1_312_572,
        "source": "Invented tables, 2026",
    }
    sent = client.post(reverse("admin:returns_emissionfactors_add"), typed)
    assert sent.status_code == 302
    row = EmissionFactors.objects.get()
    entry = LogEntry.objects.get(object_id=str(row.pk))
    assert (entry.user, entry.content_type.model) == (olga, "emissionfactors")
    refused = client.post(reverse("admin:returns_emissionfactors_add"), typed | {"source": " "})
    assert refused.status_code == 200
    assert EmissionFactors.objects.count() == 1


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
    assert "/admin/returns/emissionfactors/" in shown
