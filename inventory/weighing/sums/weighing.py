"""What a scale's reading is worth: permissible error, standard uncertainty, sums of weighings.

Error limits follow OIML R 76 (Directive 2014/31/EU); uncertainties follow the GUM (JCGM 100), and
what a reading is made of follows EURAMET Calibration Guide 18. Each weighing keeps the part that
is its own (digital step, repeatability, place on the pan) apart from the parts that it shares with
other weighings on the same scale, for the two add up differently: with all of them (calibration,
drift, an error that a certificate names), or with those of like loads only.

Masses are conventional masses, as scales show them: air buoyancy is left uncorrected, by which a
gram of polypropylene is truly 1.18 mg more (1.2 kg/m³ of air, weights of 8,000 kg/m³).
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

EDITION = 2
"""Which model of a scale this is; kept with each reading. Edition 1 knew step and calibration."""

# Upper ends, in verification steps e, of the bands with an error of 0.5 e and of 1.0 e; above
# them it is 1.5 e. A web text of the directive prints 20 000 e for the first band of class II;
# that overlaps the second band, so the standard's 5 000 e stands here.
BAND_ENDS_E: Mapping[str, tuple[int, int]] = MappingProxyType(
    {"I": (50_000, 200_000), "II": (5_000, 20_000), "III": (500, 2_000), "IIII": (50, 200)}
)
IN_SERVICE_FACTOR = 2
COVERAGE_FACTOR = 2.0
# The most that each class lets a standard deviation of repeated weighings be, as a share of the
# permissible error: a third for special and high; for medium and ordinary it is the range that
# must stay within the error, taken as a rectangle of that width.
REPEATABILITY_SHARES: Mapping[str, float] = MappingProxyType(
    {"I": 1 / 3, "II": 1 / 3, "III": 1 / sqrt(12), "IIII": 1 / sqrt(12)}
)
# With three readings or fewer the variance of Student's t, (n - 1)/(n - 3), is infinite.
REPEATS_MIN = 4
COMMON_SHARE = 0.5
"""How much of an error that nobody measured load by load is taken as common to all loads."""


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


@dataclass(frozen=True, slots=True)
class CertificatePoint:
    """One line of a calibration certificate: what the scale showed too much, and how sure that is.

    `u_mg` is a standard uncertainty: the certificate's U divided by its k.
    """

    load_mg: int
    error_mg: float
    u_mg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """A scale as its plate and its last check describe it; masses in milligrams.

    `calibration_u_mg` is one standard uncertainty for all loads, error included; `certificate` says
    error and uncertainty load by load and goes before it; without either, half the width of the
    class's permissible error stands in. `repeatability_mg` is a standard deviation of `repeats`
    weighings of one load, `eccentricity_mg` the largest change between places on the pan at
    `eccentricity_load_mg`, `drift_ppm` the change from one check to the next in parts of the load.
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
    checked_on: date | None = None
    certificate: tuple[CertificatePoint, ...] = ()
    repeatability_mg: float | None = None
    repeats: int | None = None
    eccentricity_mg: float | None = None
    eccentricity_load_mg: int | None = None
    drift_ppm: float | None = None

    def __post_init__(self) -> None:
        steps_fit = 1 <= self.resolution_d_mg <= self.verification_e_mg
        loads_fit = 0 <= self.minimum_mg <= self.capacity_mg and self.capacity_mg >= 1
        calibration = self.calibration_u_mg
        calibration_fits = calibration is None or (isfinite(calibration) and calibration >= 0)
        class_known = self.accuracy_class in BAND_ENDS_E
        plate_fits = self.key and steps_fit and loads_fit and class_known
        if not (plate_fits and calibration_fits and self._check_fits()):
            raise BadScale

    def _check_fits(self) -> bool:
        figures = (self.repeatability_mg, self.eccentricity_mg, self.drift_ppm)
        loads = [point.load_mg for point in self.certificate]
        parts = [part for point in self.certificate for part in (abs(point.error_mg), point.u_mg)]
        return (
            all(isfinite(part) and part >= 0 for part in (*parts, *figures) if part is not None)
            and (self.repeatability_mg is None) == (self.repeats is None)
            and (self.repeats is None or self.repeats >= REPEATS_MIN)
            and (self.eccentricity_mg is None) == (self.eccentricity_load_mg is None)
            and (self.eccentricity_load_mg is None or self.eccentricity_load_mg > 0)
            and loads == sorted(set(loads))
            and all(load > 0 for load in loads)
        )


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


def repeatability_uncertainty_mg(scale: Scale, mass_mg: int) -> float:
    """Return the standard deviation of weighings of one load, in mg.

    That of the check with repeats, raised by √((n − 1)/(n − 3)) because n readings only estimate
    it (variance of Student's t; JCGM 101:2008, 6.4.9.4, from memory); else the most that the class
    lets a scale in use have (French order of 24 March 1972, article 10, in the spirit of R 76).
    """
    if scale.repeatability_mg is not None and scale.repeats is not None:
        return scale.repeatability_mg * sqrt((scale.repeats - 1) / (scale.repeats - 3))
    share = REPEATABILITY_SHARES[scale.accuracy_class]
    return share * maximum_permissible_error_mg(scale, mass_mg)


def eccentricity_uncertainty_mg(scale: Scale, mass_mg: int) -> float:
    """Return what the place on the pan adds, in mg: R · ΔI / (2 · L · √3) (EURAMET cg-18).

    Without a check of it, the permissible error at a third of the capacity, which is what R 76 lets
    a load off the middle cause (from memory).
    """
    change_mg, load_mg = scale.eccentricity_mg, scale.eccentricity_load_mg
    if change_mg is None or load_mg is None:
        load_mg = max(1, scale.capacity_mg // 3)
        change_mg = maximum_permissible_error_mg(scale, load_mg)
    return abs(mass_mg) * change_mg / (2 * load_mg * sqrt(3))


def drift_uncertainty_mg(scale: Scale, mass_mg: int, on: date | None = None) -> float:
    """Return what may have changed since the last check, in mg, in proportion to the load.

    It grows evenly from the check to the day the next one is due, as a rectangle (NIST SOP 29's
    divisor, second-hand). Without `drift_ppm` it is what the class allows in use beyond the check,
    at the capacity; where the class's limits stand in for a check, they hold that already.
    """
    if scale.drift_ppm is not None:
        share = scale.drift_ppm / 1_000_000
    elif scale.certificate or scale.calibration_u_mg is not None:
        limit_mg = maximum_permissible_error_mg(scale, scale.capacity_mg)
        fresh_mg = limit_mg / (IN_SERVICE_FACTOR if scale.in_service else 1)
        share = fresh_mg / scale.capacity_mg
    else:
        share = 0.0
    return abs(mass_mg) * share / sqrt(3) * _elapsed(scale, on)


def _elapsed(scale: Scale, on: date | None) -> float:
    """Return how much of the time between two checks has passed; all of it where none is known."""
    if on is None or scale.checked_on is None or scale.check_due is None:
        return 1.0
    days = (scale.check_due - scale.checked_on).days
    return max(0.0, (on - scale.checked_on).days / days) if days > 0 else 1.0


def certified(scale: Scale, mass_mg: int) -> CertificatePoint:
    """Return error and standard uncertainty of a scale's certificate at a load.

    Between two points on a straight line; below the first and above the last it stays as there
    (EURAMET cg-18). The scale must have a certificate.
    """
    load_mg, points = abs(mass_mg), scale.certificate
    above = next((i for i, point in enumerate(points) if point.load_mg >= load_mg), None)
    if above is None or above == 0:
        return points[-1 if above is None else 0]
    low, high = points[above - 1], points[above]
    share = (load_mg - low.load_mg) / (high.load_mg - low.load_mg)
    return CertificatePoint(
        load_mg,
        low.error_mg + share * (high.error_mg - low.error_mg),
        low.u_mg + share * (high.u_mg - low.u_mg),
    )


def calibration_uncertainty_mg(scale: Scale, mass_mg: int) -> float:
    """Return how well the scale's error is known, as a standard uncertainty in mg.

    The certificate's at this load, or the one figure of the calibration check, else the permissible
    error as the half width of a rectangle (GUM 4.3.7).
    """
    if scale.certificate:
        return certified(scale, mass_mg).u_mg
    if scale.calibration_u_mg is not None:
        return scale.calibration_u_mg
    return maximum_permissible_error_mg(scale, mass_mg) / sqrt(3)


def load_band(mass_mg: int) -> int:
    """Return which loads a reading shares an unmeasured error with: those of its power of two."""
    return abs(mass_mg).bit_length()


@dataclass(frozen=True, slots=True)
class Budget:
    """What the uncertainty of one reading is made of, all standard uncertainties in mg.

    `own_mg` is of this reading alone. `common_mg` is shared with every reading on the scale,
    `local_mg` with those of like loads only, `drift_mg` with every one in proportion to what has
    drifted. `error_mg` is what the certificate says the scale shows too much, with its sign; the
    reading is not corrected by it.
    """

    own_mg: float
    common_mg: float
    local_mg: float
    drift_mg: float
    error_mg: float


def budget(scale: Scale, mass_mg: int, on: date | None = None) -> Budget:
    """Return the parts of a reading's uncertainty, on a day.

    Where no certificate tells error from error load by load, the whole of it is taken as shared by
    like loads only and half of it by all: two loads of unlike size then keep almost what two
    unrelated errors would leave in their difference, and a sum almost what one common error would.
    """
    calibration_mg = calibration_uncertainty_mg(scale, mass_mg)
    has_certificate = bool(scale.certificate)
    return Budget(
        hypot(
            # The scale shows a load less its zero, and rounds both.
            step_uncertainty_mg(scale, tared=True),
            repeatability_uncertainty_mg(scale, mass_mg),
            eccentricity_uncertainty_mg(scale, mass_mg),
        ),
        calibration_mg if has_certificate else COMMON_SHARE * calibration_mg,
        0.0 if has_certificate else calibration_mg,
        drift_uncertainty_mg(scale, mass_mg, on),
        certified(scale, mass_mg).error_mg if has_certificate else 0.0,
    )


def shared_parts(key: str, mass_mg: int, found: Budget) -> tuple[tuple[str, float], ...]:
    """Return what a reading shares with others, by the name of each common error, in mg.

    `key` names the scale within one calibration period.
    """
    parts = (
        (key, found.common_mg),
        (f"{key}:drift", found.drift_mg),
        (f"{key}:error", found.error_mg),
        (f"{key}:load{load_band(mass_mg)}", found.local_mg),
    )
    # The common part is named even at nought: it says which scale stands behind the reading.
    return tuple((name, u_mg) for name, u_mg in parts if u_mg or name == key)


def measure(scale: Scale, mass_mg: int, on: date | None = None) -> Measured:
    """Return a weighing as a mass with all parts of its uncertainty."""
    found = budget(scale, mass_mg, on)
    return Measured(mass_mg, found.own_mg, shared_parts(scale.key, mass_mg, found))


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
