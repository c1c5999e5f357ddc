from __future__ import annotations

from decimal import Decimal

import pytest

from returns.figures.claims.sums.claims import InputRefused
from returns.figures.emissions.sums import (
    UK_FACTORS,
    Activity,
    FactorMismatch,
    MissingFactor,
    PowerUse,
    Substitution,
    statement,
    uk_factor,
)

HALF = Substitution(low=Decimal(0), central=Decimal("0.5"), high=Decimal(1), reason="own guess")
TEN_KG_MG = 10_000_000


def primary(year=2025, mass_mg=TEN_KG_MG):
    return Activity(mass_mg, year, uk_factor("pp_material_primary", year=year))


def closed_loop(year=2025):
    return Activity(TEN_KG_MG, year, uk_factor("pp_material_closed_loop", year=year))


@pytest.mark.parametrize(
    ("flow", "year"),
    [
        ("pp_material_reuse", 2025),
        ("pp_material_open_loop", 2025),
        ("pp_material_primary", 2022),
        ("pp_material_primary", 2026),
    ],
)
def test_an_unpublished_factor_is_an_error_and_not_zero(flow, year):
    with pytest.raises(MissingFactor, match="not zero"):
        uk_factor(flow, year=year)


def test_every_factor_states_source_year_scope_unit_and_licence():
    for (flow, year), factor in UK_FACTORS.items():
        assert (factor.flow, factor.year) == (flow, year)
        assert str(year) in factor.source
        assert factor.scope in {"scope 2", "scope 3"}
        assert factor.unit in {"t", "kWh"}
        assert "Open Government Licence" in factor.licence
        assert factor.kg_co2e_per_unit > 0


@pytest.mark.parametrize("year", [2023, 2024, 2026])
def test_a_factor_of_another_year_than_the_activity_is_refused(year):
    with pytest.raises(FactorMismatch, match=str(year)):
        Activity(1, year, uk_factor("pp_material_primary", year=2025))


def test_a_factor_of_another_unit_is_refused():
    with pytest.raises(FactorMismatch):
        Activity(1, 2025, uk_factor("electricity_grid", year=2025))
    with pytest.raises(FactorMismatch):
        PowerUse(1, 2025, uk_factor("pp_material_primary", year=2025))


def test_statement_keeps_two_lines_and_offers_no_net():
    result = statement([closed_loop()], displaced=primary(), substitution=HALF)
    assert result.inventory_kg == Decimal("13.1257172")
    assert result.avoided_kg == Decimal("12.8878586")
    assert (result.avoided_low_kg, result.avoided_high_kg) == (0, Decimal("25.7757172"))
    assert not [name for name in dir(result) if "net" in name]


def test_the_inventory_line_ignores_the_substitution_ratio():
    lines = {
        statement(
            [closed_loop()],
            displaced=primary(),
            substitution=Substitution(low=s, central=s, high=s, reason="trial"),
        ).inventory_kg
        for s in (Decimal(0), Decimal("0.5"), Decimal(1))
    }
    assert len(lines) == 1


def test_factors_of_two_years_are_not_mixed_in_one_statement():
    with pytest.raises(FactorMismatch):
        statement([closed_loop(2024)], displaced=primary(2025), substitution=HALF)


def test_metered_power_is_not_added_to_a_factor_that_includes_forming():
    power = PowerUse(6_130, 2025, uk_factor("electricity_grid", year=2025))
    waste = Activity(TEN_KG_MG, 2025, uk_factor("pp_waste_recycling", year=2025))
    with pytest.raises(FactorMismatch, match="twice"):
        statement([closed_loop(), power], displaced=primary(), substitution=HALF)
    allowed = statement([waste, power], displaced=primary(), substitution=HALF)
    assert allowed.inventory_kg == Decimal("0.0468568") + Decimal("1.08501")


def test_avoided_emissions_without_the_process_are_refused():
    with pytest.raises(InputRefused):
        statement([], displaced=primary(), substitution=HALF)


@pytest.mark.parametrize(
    ("low", "central", "high", "reason"),
    [
        ("-0.01", "0", "1", "x"),
        ("0.6", "0.5", "1", "x"),
        ("0", "1", "1.01", "x"),
        ("0", "0", "1", " "),
    ],
)
def test_a_substitution_outside_its_range_or_without_reason_is_refused(low, central, high, reason):
    with pytest.raises(InputRefused):
        Substitution(low=Decimal(low), central=Decimal(central), high=Decimal(high), reason=reason)


def test_negative_activity_is_refused():
    with pytest.raises(InputRefused):
        primary(mass_mg=-1)
    with pytest.raises(InputRefused):
        PowerUse(-1, 2025, uk_factor("electricity_grid", year=2025))
