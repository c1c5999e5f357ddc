"""Emission sums against the UK conversion factors and a constructed substitution table.

Factor values read in a table packaged with a general emission-factor library built from the UK
Government's official flat files (2023, 2024, 2025 sets); not compared with the published workbook.
Open Government Licence v3 (from memory).
"""

from __future__ import annotations

from decimal import Decimal

import pytest

from returns.figures.emissions.sums import Activity, Factor, Substitution, statement, uk_factor

TEN_KG_MG = 10_000_000


# Recomputed from the read 2025 values: 10 kg of polypropylene.
@pytest.mark.parametrize(
    ("flow", "kg"),
    [("pp_material_closed_loop", "13.1257172"), ("pp_material_primary", "25.7757172")],
)
def test_ten_kilograms_in_2025(flow, kg):
    assert Activity(TEN_KG_MG, 2025, uk_factor(flow, year=2025)).kg_co2e == Decimal(kg)


# Differences between primary and closed-loop, recomputed: kg CO2e per tonne.
@pytest.mark.parametrize(
    ("year", "difference"), [(2023, "553.4319"), (2024, "1265"), (2025, "1265")]
)
def test_primary_less_closed_loop(year, difference):
    primary = uk_factor("pp_material_primary", year=year).kg_co2e_per_unit
    closed = uk_factor("pp_material_closed_loop", year=year).kg_co2e_per_unit
    assert primary - closed == pytest.approx(Decimal(difference), abs=Decimal("0.00005"))


# Recomputed: 0.613 kWh/kg (Socks, Vermont Energy Investment Corp., read) at the UK 2025 grid and
# loss factors is 0.120 kg CO2e per kg.
def test_power_of_a_hydraulic_press_at_the_2025_grid():
    grid = uk_factor("electricity_grid", year=2025).kg_co2e_per_unit
    losses = uk_factor("electricity_losses", year=2025).kg_co2e_per_unit
    assert Decimal("0.613") * (grid + losses) == pytest.approx(
        Decimal("0.120"), abs=Decimal("5e-4")
    )


def warm_v15(flow, value):
    # US EPA WARM v15 polypropylene, solved from the agency's own matrices (read): kg CO2e per kg.
    # The year is a label for this check, from memory.
    return Factor(
        flow=flow,
        year=2020,
        kg_co2e_per_unit=Decimal(value) * 1000,
        unit="t",
        scope="memo",
        family="US EPA WARM v15",
        source="US EPA WARM v15",
        licence="MIT",
    )


# Constructed table: 10 kg flake, virgin 1.6922 and recycled 0.5653 kg CO2e per kg.
@pytest.mark.parametrize(
    ("ratio", "avoided"),
    [("1", "16.922"), ("0.9", "15.230"), ("0.776", "13.131"), ("0.5", "8.461"), ("0", "0")],
)
def test_two_lines_for_ten_kilograms_of_flake(ratio, avoided):
    s = Decimal(ratio)
    result = statement(
        [Activity(TEN_KG_MG, 2020, warm_v15("recycled", "0.5653"))],
        displaced=Activity(TEN_KG_MG, 2020, warm_v15("virgin", "1.6922")),
        substitution=Substitution(low=s, central=s, high=s, reason="constructed"),
    )
    assert result.inventory_kg == Decimal("5.653")
    assert result.avoided_kg == pytest.approx(Decimal(avoided), abs=Decimal("0.0005"))
