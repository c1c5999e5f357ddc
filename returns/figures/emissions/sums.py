"""Emissions of a process and emissions avoided, always two lines and never one.

Factors carry value, unit, year, scope and source; the factor year must be the activity's year, and
a factor that is not published is an error, never zero. Avoided emissions are a memo beside the
inventory (GHG Protocol Scope 3 Standard, from memory), so nothing here nets one off the other.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from types import MappingProxyType

from returns.figures.claims.sums.claims import EvidenceError, InputRefused

_MG_PER_TONNE = Decimal(1_000_000_000)

# Read in the table packaged with a general emission-factor library, built from the official flat
# files; not compared with the published workbook. The licence is from memory.
UK_SOURCE = "UK Government GHG conversion factors for company reporting, {year} set (DESNZ)"
UK_LICENCE = "Contains public sector information licensed under the Open Government Licence v3.0"


class MissingFactor(EvidenceError):
    """No factor is published for this flow and year; that is not the same as zero."""

    code = "missing_factor"


class FactorMismatch(EvidenceError):
    """The factor belongs to another year, unit or family than the activity it is used for."""

    code = "factor_mismatch"


@dataclass(frozen=True, slots=True, kw_only=True)
class Factor:
    """One emission factor: kilograms of CO2 equivalent per `unit` of activity.

    `unit` is "t" or "kWh". `family` names the set it comes from; factors of two families rest on
    different methods and warming potentials and are not mixed in one statement.
    """

    flow: str
    year: int
    kg_co2e_per_unit: Decimal
    unit: str
    scope: str
    family: str
    source: str
    licence: str
    includes: str = ""


def _uk(year: int, flow: str, value: str) -> Factor:
    is_power = flow.startswith("electricity")
    return Factor(
        flow=flow,
        year=year,
        kg_co2e_per_unit=Decimal(value),
        unit="kWh" if is_power else "t",
        scope="scope 2" if flow == "electricity_grid" else "scope 3",
        family=f"UK {year}",
        source=UK_SOURCE.format(year=year),
        licence=UK_LICENCE,
        includes="forming into the product" if flow.startswith("pp_material") else "",
    )


# Our own flow ids: the published labels change between years for the same flow. Reuse and
# open-loop material use are left out because their cells are empty.
_UK_VALUES = (
    (2023, "pp_material_primary", "3090.817900844562"),
    (2023, "pp_material_closed_loop", "2537.38599752002"),
    (2023, "pp_waste_recycling", "21.28080723687633"),
    (2023, "pp_waste_combustion", "21.28080723687633"),
    (2023, "pp_waste_landfill", "8.884130131626865"),
    (2023, "electricity_grid", "0.20707428859060403"),
    (2023, "electricity_losses", "0.017915111409395973"),
    (2024, "pp_material_primary", "2568.58892"),
    (2024, "pp_material_closed_loop", "1303.58892"),
    (2024, "pp_waste_recycling", "6.41061"),
    (2024, "pp_waste_combustion", "6.41061"),
    (2024, "pp_waste_landfill", "8.88386"),
    (2024, "electricity_grid", "0.20705"),
    (2024, "electricity_losses", "0.0183"),
    (2025, "pp_material_primary", "2577.57172"),
    (2025, "pp_material_closed_loop", "1312.57172"),
    (2025, "pp_waste_recycling", "4.68568"),
    (2025, "pp_waste_combustion", "4.68568"),
    (2025, "pp_waste_landfill", "8.98311"),
    (2025, "electricity_grid", "0.177"),
    (2025, "electricity_losses", "0.01853"),
)
UK_FACTORS = MappingProxyType(
    {(flow, year): _uk(year, flow, value) for year, flow, value in _UK_VALUES}
)


def uk_factor(flow: str, *, year: int) -> Factor:
    """Return the UK factor of a flow for the activity year, or raise MissingFactor."""
    try:
        return UK_FACTORS[flow, year]
    except KeyError:
        raise MissingFactor(
            f"No UK factor is held for {flow!r} in {year}: enter the published one with its "
            "source, or leave the figure out. It is not zero."
            # A KeyError beneath would say nothing that this message does not.
        ) from None


@dataclass(frozen=True, slots=True)
class Activity:
    """Something done in a year: a mass in milligrams with its factor for that year."""

    mass_mg: int
    year: int
    factor: Factor

    def __post_init__(self) -> None:
        if self.mass_mg < 0:
            raise InputRefused("An activity's mass must not be below 0 mg.")
        _refuse_mismatch(self.factor, self.year, "t")

    @property
    def kg_co2e(self) -> Decimal:
        """Emissions in kilograms of CO2 equivalent."""
        # Multiplied before it is divided, in Decimal: the published digits go in as they are
        # printed.
        return self.factor.kg_co2e_per_unit * self.mass_mg / _MG_PER_TONNE


@dataclass(frozen=True, slots=True)
class PowerUse:
    """Metered electricity in watt-hours of a year with its factor."""

    energy_wh: int
    year: int
    factor: Factor

    def __post_init__(self) -> None:
        if self.energy_wh < 0:
            raise InputRefused("Metered energy must not be below 0 Wh.")
        _refuse_mismatch(self.factor, self.year, "kWh")

    @property
    def kg_co2e(self) -> Decimal:
        """Emissions in kilograms of CO2 equivalent."""
        # Watt-hours to kilowatt-hours, the unit of the factor.
        return self.factor.kg_co2e_per_unit * self.energy_wh / 1000


@dataclass(frozen=True, slots=True, kw_only=True)
class Substitution:
    """How much virgin material one mass of flake really displaces, with its range and reason.

    1 to 1 holds only under narrow market conditions and 0 is possible (Zink, Geyer and Startz, A
    Market-Based Framework for Quantifying Displaced Production, read), so a range is required.
    """

    low: Decimal
    central: Decimal
    high: Decimal
    reason: str

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.central <= self.high <= 1:
            raise InputRefused("Substitution needs 0 <= low <= central <= high <= 1.")
        if not self.reason.strip():
            raise InputRefused("Say where the substitution ratio comes from.")


@dataclass(frozen=True, slots=True, kw_only=True)
class EmissionStatement:
    """Two lines in kg CO2e: the inventory, and the avoided memo with its range. No net exists."""

    inventory_kg: Decimal
    avoided_kg: Decimal
    avoided_low_kg: Decimal
    avoided_high_kg: Decimal
    year: int
    baseline: Factor
    substitution: Substitution
    factors: tuple[Factor, ...]


def statement(
    process: Iterable[Activity | PowerUse],
    *,
    displaced: Activity,
    substitution: Substitution,
) -> EmissionStatement:
    """Return inventory and avoided emissions of one year, apart from each other.

    `displaced` is the flake mass with the virgin factor it may replace. Raise FactorMismatch when
    years or families differ, or when power for moulding is added to a factor that holds forming.
    """
    done = tuple(process)
    if not done:
        raise InputRefused("Give the emissions of the process itself before any avoided ones.")
    for activity in done:
        _refuse_mixture(activity.factor, displaced.factor)
    # The published factor of the material holds the forming: metered power of the press is in it
    # already.
    _refuse_double_forming(done)
    base = displaced.kg_co2e
    return EmissionStatement(
        inventory_kg=sum((activity.kg_co2e for activity in done), Decimal(0)),
        avoided_kg=base * substitution.central,
        avoided_low_kg=base * substitution.low,
        avoided_high_kg=base * substitution.high,
        year=displaced.year,
        baseline=displaced.factor,
        substitution=substitution,
        factors=tuple(activity.factor for activity in done),
    )


def _refuse_mismatch(factor: Factor, year: int, unit: str) -> None:
    if factor.year != year:
        raise FactorMismatch(
            f"The factor is for {factor.year} and the activity for {year}: use that year's factor."
        )
    if factor.unit != unit:
        raise FactorMismatch(f"The factor is per {factor.unit}, the activity counts in {unit}.")


def _refuse_mixture(factor: Factor, baseline: Factor) -> None:
    if factor.family != baseline.family or factor.year != baseline.year:
        raise FactorMismatch(
            f"{factor.family} {factor.year} and {baseline.family} {baseline.year} rest on "
            "different methods: use one family and one year in a statement."
        )


def _refuse_double_forming(done: tuple[Activity | PowerUse, ...]) -> None:
    has_power = any(isinstance(activity, PowerUse) for activity in done)
    if has_power and any(activity.factor.includes for activity in done):
        raise FactorMismatch(
            "A material factor here already includes forming: adding metered power counts it twice."
        )
