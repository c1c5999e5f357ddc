"""What a scale's reading is worth: permissible error, standard uncertainty, sums of weighings.

Error limits follow OIML R 76 (Directive 2014/31/EU); uncertainties follow the GUM (JCGM 100).
Each weighing keeps the part that is its own (the digital step) apart from the part that it shares
with every other weighing on the same scale (the calibration), for the two add up differently.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from math import fsum, hypot, isfinite, sqrt
from types import MappingProxyType
from typing import ClassVar

from inventory.wording import gettext_noop

# Upper ends, in verification steps e, of the bands with an error of 0.5 e and of 1.0 e; above
# them it is 1.5 e. A web text of the directive prints 20 000 e for the first band of class II;
# that overlaps the second band, so the standard's 5 000 e stands here.
BAND_ENDS_E: Mapping[str, tuple[int, int]] = MappingProxyType(
    {"I": (50_000, 200_000), "II": (5_000, 20_000), "III": (500, 2_000), "IIII": (50, 200)}
)
IN_SERVICE_FACTOR = 2
COVERAGE_FACTOR = 2.0


class BadScale(ValueError):
    """A scale whose figures cannot be those of a scale."""

    code: ClassVar[str] = "bad_scale"
    template: ClassVar[str] = gettext_noop(
        "These are not the figures of a scale. Copy class, steps, smallest and largest load "
        "from the scale's plate."
    )

    def __init__(self) -> None:
        super().__init__(self.template)


class WeighingFlag(StrEnum):
    """A reason to trust a weighing less; each is shown, none forbids."""

    PAST_CHECK = "past_check"
    NO_CHECK_DATE = "no_check_date"
    BELOW_MINIMUM = "below_minimum"
    OVER_CAPACITY = "over_capacity"


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A scale as its plate and its last check describe it; masses in milligrams.

    `calibration_u_mg` is the standard uncertainty from the calibration check, error included;
    without it half the width of the class's permissible error stands in.
    """

    key: str
    resolution_d_mg: int
    verification_e_mg: int
    accuracy_class: str
    capacity_mg: int
    minimum_mg: int
    check_due: date | None = None
    calibration_u_mg: float | None = None
    in_service: bool = True

    def __post_init__(self) -> None:
        steps_fit = 1 <= self.resolution_d_mg <= self.verification_e_mg
        loads_fit = 0 <= self.minimum_mg <= self.capacity_mg and self.capacity_mg >= 1
        calibration = self.calibration_u_mg
        calibration_fits = calibration is None or (isfinite(calibration) and calibration >= 0)
        class_known = self.accuracy_class in BAND_ENDS_E
        if not (self.key and steps_fit and loads_fit and calibration_fits and class_known):
            raise BadScale


@dataclass(frozen=True, slots=True)
class Measured:
    """A mass with its standard uncertainty, split into own part and part per scale.

    `u_shared_mg` keeps its sign: it says how the mass moves when that scale reads high, so that
    a common error cancels in a difference and adds up in a sum.
    """

    mass_mg: int
    u_independent_mg: float
    u_shared_mg: tuple[tuple[str, float], ...] = ()

    @property
    def variance_mg2(self) -> float:
        """The combined variance in mg²; different scales are taken as independent."""
        return self.u_independent_mg**2 + fsum(u**2 for _, u in self.u_shared_mg)

    @property
    def u_mg(self) -> float:
        """The combined standard uncertainty in mg."""
        return sqrt(self.variance_mg2)


def maximum_permissible_error_mg(scale: Scale, mass_mg: int) -> float:
    """Return the largest error allowed at a load, either way, in mg; doubled in service.

    Source: Directive 2014/31/EU, error table, as read in UK SI 1995/1907 Schedule 2. Net loads
    obey the same table.
    """
    first_end_e, second_end_e = BAND_ENDS_E[scale.accuracy_class]
    load_mg, e_mg = abs(mass_mg), scale.verification_e_mg
    # Each band of the table includes its upper end: a load of exactly 5 000 e still has 0.5 e.
    steps = 1.5 if load_mg > second_end_e * e_mg else 1.0
    if load_mg <= first_end_e * e_mg:
        steps = 0.5
    return steps * e_mg * (IN_SERVICE_FACTOR if scale.in_service else 1)


def step_uncertainty_mg(scale: Scale, *, tared: bool = False) -> float:
    """Return the standard uncertainty of the digital step d: d/√12, and d/√6 when tared.

    A tared figure is the difference of two rounded ones (GUM F.2.2.1).
    """
    return scale.resolution_d_mg / sqrt(6 if tared else 12)


def calibration_uncertainty_mg(scale: Scale, mass_mg: int) -> float:
    """Return the part common to all weighings on the scale, as a standard uncertainty in mg.

    The value of the calibration check where there is one, else the permissible error as the
    half width of a rectangle (GUM 4.3.7).
    """
    if scale.calibration_u_mg is not None:
        return scale.calibration_u_mg
    return maximum_permissible_error_mg(scale, mass_mg) / sqrt(3)


def measure(scale: Scale, mass_mg: int, *, tared: bool = False) -> Measured:
    """Return a weighing as a mass with both parts of its uncertainty."""
    return Measured(
        mass_mg,
        step_uncertainty_mg(scale, tared=tared),
        ((scale.key, calibration_uncertainty_mg(scale, mass_mg)),),
    )


def combine(weighings: Iterable[tuple[int, Measured]]) -> Measured:
    """Return the sum of coefficient times weighing, for example (1, gross) and (-1, box).

    Own parts add as root sum of squares, never less in a difference; parts shared on one scale
    add with their signs (GUM 5.2.2, note 1), so a common error counts fully in a month's total
    and cancels between gross and tare.
    """
    listed = list(weighings)
    mass_mg = sum(coefficient * weighing.mass_mg for coefficient, weighing in listed)
    own_mg, shared_mg = _parts(listed)
    return Measured(mass_mg, own_mg, tuple(sorted(shared_mg.items())))


def spread_mg(weighings: Iterable[tuple[float, Measured]]) -> float:
    """Return the standard uncertainty in mg of a sum as in `combine`, of shares of weighings."""
    own_mg, shared_mg = _parts(weighings)
    return hypot(own_mg, *shared_mg.values())


def _parts(weighings: Iterable[tuple[float, Measured]]) -> tuple[float, dict[str, float]]:
    own_mg, shared_mg = list[float](), dict[str, float]()
    for coefficient, weighing in weighings:
        # The sign is lost in the square, as it should be: own errors never cancel.
        own_mg.append(coefficient * weighing.u_independent_mg)
        for key, u_mg in weighing.u_shared_mg:
            shared_mg[key] = shared_mg.get(key, 0.0) + coefficient * u_mg
    return hypot(*own_mg), shared_mg


def total(weighings: Iterable[Measured]) -> Measured:
    """Return the plain sum, such as the mass credited in a month."""
    return combine((1, weighing) for weighing in weighings)


def expanded(u: float, k: float = COVERAGE_FACTOR) -> float:
    """Return the expanded uncertainty k·u; k = 2 covers about 95 % for a near-normal figure."""
    return k * u


def flags(scale: Scale, mass_mg: int, on: date) -> tuple[WeighingFlag, ...]:
    """Return what speaks against a weighing made on a day; the day a check is due still counts."""
    found = {
        WeighingFlag.NO_CHECK_DATE: scale.check_due is None,
        # `>` and not `>=`: on its last day a check still holds.
        WeighingFlag.PAST_CHECK: scale.check_due is not None and on > scale.check_due,
        WeighingFlag.BELOW_MINIMUM: mass_mg < scale.minimum_mg,
        WeighingFlag.OVER_CAPACITY: mass_mg > scale.capacity_mg,
    }
    return tuple(flag for flag in WeighingFlag if found[flag])
